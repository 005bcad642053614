-- one row per course and quarter with weeks (by the week's first day): sums from which every ratio is made
-- *_logged sums run over weeks whose sessions (or breaths) are known and prescribed; *_all over every prescribed week.
select
  w.client_key,
  w.course_no,
  w.quarter,
  count(*) as weeks_in_course,
  count(*) filter (where w.logged_by <> 'none') as weeks_logged,
  cast(coalesce(sum(w.sessions_done), 0) as bigint) as n_sessions,
  cast(sum(case when w.sessions_prescribed is not null then w.sessions_done end) as bigint) as sessions_done_logged,
  sum(case when w.sessions_done is not null then w.sessions_prescribed end) as sessions_prescribed_logged,
  sum(w.sessions_prescribed) as sessions_prescribed_all,
  sum(case when w.sessions_done is not null then w.sessions_prescribed_unpaused end) as sessions_unpaused_logged,
  cast(sum(case when w.breaths_prescribed is not null then w.breaths_done end) as bigint) as breaths_done_logged,
  sum(case when w.breaths_done is not null then w.breaths_prescribed end) as breaths_prescribed_logged,
  sum(case when w.breaths_done is not null then w.breaths_prescribed_unpaused end) as breaths_unpaused_logged,
  cast(coalesce(sum(case when w.effort_scale = k.effort_scale then w.rated_in end), 0) as bigint) as rated_in,
  cast(
    coalesce(
      sum(case when w.effort_scale = k.effort_scale then w.rated_below + w.rated_in + w.rated_above end), 0
    ) as bigint
  ) as rated_sessions,
  max(k.effort_scale) as effort_scale,
  cast(sum(w.eased_sessions) as bigint) as eased_sessions,
  cast(sum(w.steps_up) as bigint) as steps_up,
  cast(sum(w.steps_down) as bigint) as steps_down,
  cast(sum(w.paused_days) as bigint) as paused_days,
  cast(sum(w.illness_days) as bigint) as illness_days,
  cast(sum(w.stopped_early) as bigint) as stopped_early,
  count(*) filter (where w.sessions_prescribed is not null and not w.is_assumed) as weeks_prescribed
from quantities.client_weeks as w
left join quantities.course_scales as k on k.client_key = w.client_key and k.course_no = w.course_no
group by w.client_key, w.course_no, w.quarter
