-- one row per comparable test day after the baseline: what happened since the test before it (or week 0), this day not
-- included
with
spans as (
  select
    t.client_key, t.course_no, t.pressure, t.tested_on,
    greatest(t.before_on, c.week0_on) as from_on
  from quantities.comparable_tests as t
  inner join settled.courses as c on c.client_key = t.client_key and c.course_no = t.course_no
  where not t.is_baseline
)
select
  p.client_key,
  p.course_no,
  p.pressure,
  p.tested_on,
  cast(greatest(date_diff('day', p.from_on, p.tested_on), 0) as double) / 7 as interval_weeks,
  count(d.day_on) as course_days,
  count(*) filter (where d.is_known) as known_days,
  count(*) filter (where d.is_ill) as illness_days,
  count(*) filter (where d.is_paused and not d.is_ill) as held_days,
  cast(sum(d.sessions_told) as bigint) as sessions_told,
  cast(sum(d.eased) as bigint) as eased_sessions,
  sum(d.wellbeing_sum) / nullif(cast(sum(d.wellbeing_told) as double), 0) as wellbeing,
  max(d.day_on) filter (where d.done_420 > 0) as last_done_on,
  max(d.day_on) filter (where not d.is_known) as last_unknown_on,
  cast(sum(d.sessions_a_week) as double) / 7 as prescribed,
  cast(sum(case when d.is_known then d.sessions_a_week end) as double) / 7 as prescribed_known,
  cast(sum(case when d.is_known and d.sessions_a_week is not null then d.done_420 end) as double) / 420 as done,
  cast(coalesce(sum(case when d.is_known then d.effort_420 end), 0) as double) / 420 as effort_units,
  cast(coalesce(sum(case when d.is_known then d.rated_420 end), 0) as double) / 420 as rated_units,
  cast(coalesce(sum(case when d.is_known then d.in_band_420 end), 0) as double) / 420 as in_band_units
from spans as p
left join quantities.day_records as d
  on d.client_key = p.client_key and d.course_no = p.course_no and d.day_on >= p.from_on and d.day_on < p.tested_on
group by p.client_key, p.course_no, p.pressure, p.tested_on, p.from_on
