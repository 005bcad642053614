-- one row per client, course and week (0 is the first), as in quantities
select
  w.client_key, w.course_no, w.site, w.protocol, w.week_no, w.week_from_on, w.quarter, w.week_days, w.logged_by,
  w.sessions_prescribed, w.breaths_prescribed, w.paused_days, w.sessions_prescribed_unpaused,
  w.breaths_prescribed_unpaused, w.sessions_done, w.breaths_done, w.sets_done, w.rated_below, w.rated_in,
  w.rated_above, w.not_rated, w.rated_other_scale, w.effort_scale, w.effort_low, w.effort_high, w.effort_median,
  w.inhale_setting_median, w.exhale_setting_median, w.steps_up, w.steps_down, w.eased_sessions, w.stopped_early,
  w.illness_days, w.device_class, w.is_assumed
from quantities.client_weeks as w
