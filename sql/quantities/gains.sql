-- one row per course and pressure: baseline, the comparable test nearest 12 weeks, the last comparable test, gains
-- % predicted uses, of the equations that cover the client, the one named first in the reference; `equation` says
-- which.
with
judged as (
  select
    t.client_key, t.course_no, t.pressure, t.tested_on, t.week, t.value_cmh2o, t.is_baseline, t.place_back,
    not t.is_baseline and t.week >= s.window_12_low_weeks and t.week <= s.window_12_high_weeks as in_window,
    row_number() over (
      partition by t.client_key, t.course_no, t.pressure,
        not t.is_baseline and t.week >= s.window_12_low_weeks and t.week <= s.window_12_high_weeks
      order by abs(t.week - 12), t.tested_on
    ) as nearest
  from quantities.comparable_tests as t
  cross join settings.current as s
),
picked as (
  select
    j.client_key, j.course_no, j.pressure,
    count(*) as n_tests,
    max(case when j.in_window and j.nearest = 1 then j.tested_on end) as at12_on,
    max(case when j.in_window and j.nearest = 1 then j.week end) as at12_week,
    max(case when j.in_window and j.nearest = 1 then j.value_cmh2o end) as at12_cmh2o,
    max(case when j.place_back = 1 and not j.is_baseline then j.tested_on end) as last_on,
    max(case when j.place_back = 1 and not j.is_baseline then j.week end) as last_week,
    max(case when j.place_back = 1 and not j.is_baseline then j.value_cmh2o end) as last_cmh2o
  from judged as j
  group by j.client_key, j.course_no, j.pressure
),
later as (
  select b.client_key, b.course_no, b.pressure, count(*) as n_later
  from quantities.baselines as b
  inner join settled.courses as c on c.client_key = b.client_key and c.course_no = b.course_no
  inner join quantities.test_days as t
    on t.client_key = b.client_key and t.pressure = b.pressure and t.tested_on > b.baseline_on
    and t.tested_on <= c.record_until_on
  group by b.client_key, b.course_no, b.pressure
),
ranked as (
  select
    p.client_key, p.equation, p.pressure, p.predicted_cmh2o, p.lower_limit_cmh2o,
    row_number() over (partition by p.client_key, p.pressure order by p.preference, p.equation) as place
  from reference.predictions as p
)
select
  b.client_key, b.course_no, c.site, c.protocol, b.pressure, b.baseline_on, b.baseline_cmh2o, b.first_ever,
  k.at12_on, k.at12_week, k.at12_cmh2o,
  k.at12_cmh2o - b.baseline_cmh2o as gain12_cmh2o,
  k.last_on, k.last_week, k.last_cmh2o,
  k.last_cmh2o - b.baseline_cmh2o as gain_last_cmh2o,
  coalesce(k.n_tests, 0) as n_tests,
  100 * b.baseline_cmh2o / nullif(r.predicted_cmh2o, 0) as baseline_pct_predicted,
  100 * k.last_cmh2o / nullif(r.predicted_cmh2o, 0) as last_pct_predicted,
  r.equation,
  r.lower_limit_cmh2o,
  case
    when b.baseline_on is null then 'no_baseline'
    when k.last_on is not null then null
    when l.n_later > 0 then 'series_broken'
    else 'no_later_test'
  end as no_gain_reason
from quantities.baselines as b
inner join settled.courses as c on c.client_key = b.client_key and c.course_no = b.course_no
left join picked as k on k.client_key = b.client_key and k.course_no = b.course_no and k.pressure = b.pressure
left join later as l on l.client_key = b.client_key and l.course_no = b.course_no and l.pressure = b.pressure
left join ranked as r on r.client_key = b.client_key and r.pressure = b.pressure and r.place = 1
