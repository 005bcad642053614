-- one row per course and quarter in which it has a week, a test or an event; ratios as in adherence, for the quarter
with
sums as (
  select
    q.*,
    cast(q.sessions_done_logged as double) as done,
    cast(q.sessions_sevenths_logged as double) / 7 as prescribed,
    cast(q.sessions_sevenths_all as double) / 7 as prescribed_all,
    cast(q.sessions_sevenths_unpaused as double) / 7 as unpaused,
    cast(q.breaths_done_logged as double) as breaths,
    cast(q.breaths_sevenths_logged as double) / 7 as breaths_prescribed,
    cast(q.breaths_sevenths_unpaused as double) / 7 as breaths_unpaused
  from quantities.quarter_sums as q
),
test_counts as (
  select
    t.client_key, t.course_no, d.quarter,
    count(*) as n_tests
  from quantities.test_days as t
  inner join settled.calendar as d on d.day_on = t.tested_on
  group by t.client_key, t.course_no, d.quarter
),
event_counts as (
  select
    e.client_key, e.course_no, d.quarter,
    count(*) as n_events
  from settled.events as e
  inner join settled.calendar as d on d.day_on = e.event_on
  group by e.client_key, e.course_no, d.quarter
),
quarters as (
  select q.client_key, q.course_no, q.quarter from quantities.quarter_sums as q
  union
  select t.client_key, t.course_no, t.quarter from test_counts as t
  union
  select e.client_key, e.course_no, e.quarter from event_counts as e
)
select
  c.client_key, c.course_no, c.site, c.protocol, k.quarter,
  coalesce(q.weeks_in_course, 0) as weeks_in_course,
  coalesce(q.weeks_logged, 0) as weeks_logged,
  100 * cast(q.weeks_logged as double) / nullif(q.weeks_in_course, 0) as logged_pct,
  100 * q.done / nullif(q.prescribed, 0) as session_adherence_pct,
  100 * coalesce(q.done, 0) / nullif(q.prescribed_all, 0) as session_adherence_low_pct,
  100 * (
    coalesce(q.done, 0)
    + (q.prescribed_all - coalesce(q.prescribed, 0)) * greatest(1, coalesce(q.done / nullif(q.prescribed, 0), 1))
  ) / nullif(q.prescribed_all, 0) as session_adherence_high_pct,
  100 * q.done / nullif(q.unpaused, 0) as session_adherence_unpaused_pct,
  100 * q.breaths / nullif(q.breaths_prescribed, 0) as breath_adherence_pct,
  100 * q.breaths / nullif(q.breaths_unpaused, 0) as breath_adherence_unpaused_pct,
  100 * cast(q.rated_in as double) / nullif(q.rated_sessions, 0) as in_band_pct,
  coalesce(q.rated_sessions, 0) as rated_sessions,
  q.effort_scale,
  coalesce(q.weeks_prescribed, 0) > 0 as has_prescription,
  coalesce(q.n_sessions, 0) as n_sessions,
  coalesce(t.n_tests, 0) as n_tests,
  coalesce(q.eased_sessions, 0) as eased_sessions,
  coalesce(q.steps_up, 0) as steps_up,
  coalesce(q.steps_down, 0) as steps_down,
  coalesce(q.paused_days, 0) as paused_days,
  coalesce(q.illness_days, 0) as illness_days,
  coalesce(q.stopped_early, 0) as stopped_early,
  coalesce(e.n_events, 0) as events
from quarters as k
inner join settled.courses as c on c.client_key = k.client_key and c.course_no = k.course_no
left join sums as q
  on q.client_key = k.client_key and q.course_no = k.course_no and q.quarter = k.quarter
left join test_counts as t on t.client_key = k.client_key and t.course_no = k.course_no and t.quarter = k.quarter
left join event_counts as e on e.client_key = k.client_key and e.course_no = k.course_no and e.quarter = k.quarter
