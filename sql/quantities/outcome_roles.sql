-- one row per other measurement of a client with a course: its week, and whether it is the start or the 12-week value
-- The start is the last measurement in the baseline window, the 12-week value the one nearest 12 weeks in its window:
-- the same windows as for pressures. A measurement that is neither has the role 'other'.
with
placed as (
  select
    o.client_key, o.course_no, o.measure, o.measured_on, o.value,
    cast(date_diff('day', c.week0_on, o.measured_on) as double) / 7 as week,
    date_diff('day', c.week0_on, o.measured_on) >= -s.baseline_days_before
      and date_diff('day', c.week0_on, o.measured_on) <= s.baseline_days_after as is_early,
    date_diff('day', c.week0_on, o.measured_on) >= 7 * s.window_12_low_weeks
      and date_diff('day', c.week0_on, o.measured_on) <= 7 * s.window_12_high_weeks as is_late
  from settled.other_outcomes as o
  cross join settings.current as s
  inner join settled.courses as c on c.client_key = o.client_key and c.course_no = o.course_no
),
ranked as (
  select
    p.client_key, p.course_no, p.measure, p.measured_on, p.value, p.week, p.is_early, p.is_late,
    row_number() over (
      partition by p.client_key, p.course_no, p.measure, p.is_early order by p.measured_on desc
    ) as place_early,
    row_number() over (
      partition by p.client_key, p.course_no, p.measure, p.is_late order by abs(p.week - 12), p.measured_on
    ) as place_late
  from placed as p
)
select
  r.client_key, r.course_no, r.measure, r.measured_on, r.value, r.week,
  case
    when r.is_early and r.place_early = 1 then 'start'
    when r.is_late and r.place_late = 1 then '12_weeks'
    else 'other'
  end as role
from ranked as r
