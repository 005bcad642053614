-- one row per course and quarter with weeks (by the week's first day): sums from which every ratio is made
-- Sums named logged run over weeks whose sessions (or breaths) are known and prescribed; those named all over every
-- prescribed week. Doses are in whole sevenths, so that a sum does not depend on its order.
select
  w.client_key,
  w.course_no,
  w.quarter,
  count(*) as weeks_in_course,
  count(*) filter (where w.logged_by <> 'none') as weeks_logged,
  cast(coalesce(sum(w.sessions_done), 0) as bigint) as n_sessions,
  cast(sum(case when w.sessions_sevenths is not null then w.sessions_done end) as bigint) as sessions_done_logged,
  cast(sum(case when w.sessions_done is not null then w.sessions_sevenths end) as bigint) as sessions_sevenths_logged,
  cast(sum(w.sessions_sevenths) as bigint) as sessions_sevenths_all,
  cast(sum(case when w.sessions_done is not null then w.sessions_sevenths_unpaused end) as bigint)
    as sessions_sevenths_unpaused,
  cast(sum(case when w.breaths_sevenths is not null then w.breaths_done end) as bigint) as breaths_done_logged,
  cast(sum(case when w.breaths_done is not null then w.breaths_sevenths end) as bigint) as breaths_sevenths_logged,
  cast(sum(case when w.breaths_done is not null then w.breaths_sevenths_unpaused end) as bigint)
    as breaths_sevenths_unpaused,
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
  count(*) filter (where w.sessions_sevenths is not null and not w.is_assumed) as weeks_prescribed
from quantities.client_weeks as w
left join quantities.course_scales as k on k.client_key = w.client_key and k.course_no = w.course_no
group by w.client_key, w.course_no, w.quarter
