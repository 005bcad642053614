-- one row per course and week: days, what was prescribed, with and without pauses, and the dose in force at its end
with
placed as (
  select
    d.*,
    row_number() over (partition by d.client_key, d.course_no, d.week_no order by d.day_on desc) as place_back
  from quantities.course_days as d
)
select
  p.client_key,
  p.course_no,
  p.week_no,
  min(p.day_on) as first_day_on,
  count(*) as week_days,
  cast(sum(p.sessions_a_week) as bigint) as sessions_sevenths,
  cast(sum(p.breaths_a_week) as bigint) as breaths_sevenths,
  count(*) filter (where p.is_paused) as paused_days,
  count(*) filter (where p.is_ill) as illness_days,
  cast(sum(case when p.is_paused then 0 * p.sessions_a_week else p.sessions_a_week end) as bigint)
    as sessions_sevenths_unpaused,
  cast(sum(case when p.is_paused then 0 * p.breaths_a_week else p.breaths_a_week end) as bigint)
    as breaths_sevenths_unpaused,
  max(case when p.place_back = 1 then p.effort_low end) as effort_low,
  max(case when p.place_back = 1 then p.effort_high end) as effort_high,
  max(case when p.place_back = 1 then p.device_class end) as device_class,
  count(*) filter (where p.is_assumed) > 0 as is_assumed
from placed as p
group by p.client_key, p.course_no, p.week_no
