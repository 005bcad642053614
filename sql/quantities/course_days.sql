-- one row per course and day, from week 0 to the last day: the dose in force, and whether training was held
-- The dose is that of a week, in whole numbers: sums of days stay exact, whatever their order, until they are divided
-- by seven. Days between the episodes of a mover are not there: nothing is prescribed on them.
with
spans as (
  select
    c.client_key, c.course_no, c.week0_on,
    greatest(e.from_on, c.week0_on) as first_on,
    date_diff('day', greatest(e.from_on, c.week0_on), e.last_on) + 1 as n_days
  from settled.episodes as e
  inner join settled.courses as c on c.client_key = e.client_key and c.course_no = e.course_no
),
numbered as (
  select p.client_key, p.course_no, p.week0_on, p.first_on, unnest(range(0, p.n_days)) as day_no
  from spans as p
),
days as (
  select n.client_key, n.course_no, n.week0_on, cast(n.first_on + interval (n.day_no) day as date) as day_on
  from numbered as n
),
dose_numbers as (
  select
    d.client_key, d.course_no, d.holds_from_on, d.sessions_a_week, d.breaths_a_week, d.effort_low, d.effort_high,
    d.device_class, d.inhale_setting, d.exhale_setting, d.is_assumed,
    unnest(range(0, date_diff('day', d.holds_from_on, d.holds_until_on) + 1)) as day_no
  from quantities.doses as d
),
dose_days as (
  select
    n.client_key, n.course_no, n.sessions_a_week, n.breaths_a_week, n.effort_low, n.effort_high, n.device_class,
    n.inhale_setting, n.exhale_setting, n.is_assumed,
    cast(n.holds_from_on + interval (n.day_no) day as date) as day_on
  from dose_numbers as n
)
select
  d.client_key,
  d.course_no,
  d.day_on,
  cast(floor(cast(date_diff('day', d.week0_on, d.day_on) as double) / 7) as bigint) as week_no,
  o.sessions_a_week,
  o.breaths_a_week,
  o.effort_low,
  o.effort_high,
  o.device_class,
  o.inhale_setting,
  o.exhale_setting,
  coalesce(o.is_assumed, false) as is_assumed,
  h.day_on is not null as is_paused,
  coalesce(h.is_ill, false) as is_ill
from days as d
left join dose_days as o on o.client_key = d.client_key and o.course_no = d.course_no and o.day_on = d.day_on
left join quantities.paused_days as h on h.client_key = d.client_key and h.day_on = d.day_on
