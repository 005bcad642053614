-- one row per course: three adherences with and without pauses, with bounds for weeks not logged, and effort in band
-- Nothing is capped. low: weeks not logged as none done. high: as fully done, or at the logged share where that is
-- more.
with
sums as (
  select
    q.client_key,
    q.course_no,
    cast(sum(q.weeks_in_course) as bigint) as weeks_in_course,
    cast(sum(q.weeks_logged) as bigint) as weeks_logged,
    cast(sum(q.weeks_prescribed) as bigint) as weeks_prescribed,
    cast(sum(q.sessions_done_logged) as double) as done,
    cast(sum(q.sessions_sevenths_logged) as double) / 7 as prescribed,
    cast(sum(q.sessions_sevenths_all) as double) / 7 as prescribed_all,
    cast(sum(q.sessions_sevenths_unpaused) as double) / 7 as unpaused,
    cast(sum(q.breaths_done_logged) as double) as breaths,
    cast(sum(q.breaths_sevenths_logged) as double) / 7 as breaths_prescribed,
    cast(sum(q.breaths_sevenths_unpaused) as double) / 7 as breaths_unpaused,
    cast(sum(q.rated_in) as bigint) as rated_in,
    cast(sum(q.rated_sessions) as bigint) as rated_sessions,
    max(q.effort_scale) as effort_scale
  from quantities.quarter_sums as q
  group by q.client_key, q.course_no
)
select
  c.client_key,
  c.course_no,
  c.site,
  c.protocol,
  coalesce(s.weeks_in_course, 0) as weeks_in_course,
  coalesce(s.weeks_logged, 0) as weeks_logged,
  100 * cast(s.weeks_logged as double) / nullif(s.weeks_in_course, 0) as logged_pct,
  100 * s.done / nullif(s.prescribed, 0) as session_adherence_pct,
  100 * coalesce(s.done, 0) / nullif(s.prescribed_all, 0) as session_adherence_low_pct,
  100 * (
    coalesce(s.done, 0)
    + (s.prescribed_all - coalesce(s.prescribed, 0)) * greatest(1, coalesce(s.done / nullif(s.prescribed, 0), 1))
  ) / nullif(s.prescribed_all, 0) as session_adherence_high_pct,
  100 * s.done / nullif(s.unpaused, 0) as session_adherence_unpaused_pct,
  100 * s.breaths / nullif(s.breaths_prescribed, 0) as breath_adherence_pct,
  100 * s.breaths / nullif(s.breaths_unpaused, 0) as breath_adherence_unpaused_pct,
  100 * cast(s.rated_in as double) / nullif(s.rated_sessions, 0) as in_band_pct,
  coalesce(s.rated_sessions, 0) as rated_sessions,
  s.effort_scale,
  coalesce(s.weeks_prescribed, 0) > 0 as has_prescription
from settled.courses as c
left join sums as s on s.client_key = c.client_key and s.course_no = c.course_no
