-- one row per course and span of days with one dose, per week: a day of it carries a seventh, prescribed day or not
-- Where the settings say so, days before the first dose carry the usual dose, marked is_assumed.
with
told as (
  select p.client_key, p.course_no, min(p.holds_from_on) as first_on
  from settled.prescriptions as p
  group by p.client_key, p.course_no
)
select
  p.client_key,
  p.course_no,
  p.holds_from_on,
  p.holds_until_on,
  p.sessions_per_day * p.days_per_week as sessions_a_week,
  p.sessions_per_day * p.days_per_week * p.sets_per_session * p.breaths_per_set as breaths_a_week,
  p.effort_low,
  p.effort_high,
  p.device_class,
  p.inhale_setting,
  p.exhale_setting,
  false as is_assumed
from settled.prescriptions as p
union all
select
  c.client_key,
  c.course_no,
  c.from_on as holds_from_on,
  coalesce(cast(t.first_on - interval (1) day as date), c.last_on) as holds_until_on,
  s.usual_sessions_per_day * s.usual_days_per_week as sessions_a_week,
  s.usual_sessions_per_day * s.usual_days_per_week * s.usual_sets_per_session * s.usual_breaths_per_set
    as breaths_a_week,
  s.usual_effort_low as effort_low,
  s.usual_effort_high as effort_high,
  cast(null as varchar) as device_class,
  cast(null as double) as inhale_setting,
  cast(null as double) as exhale_setting,
  true as is_assumed
from settled.courses as c
cross join settings.current as s
left join told as t on t.client_key = c.client_key and t.course_no = c.course_no
where s.usual_dose_assumed and (t.first_on is null or t.first_on > c.from_on)
