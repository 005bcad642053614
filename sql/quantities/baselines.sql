-- one row per course and pressure: the last test day of the baseline window, or why there is none
-- The window runs from some days before the course starts to some days after it, or after its first session where that
-- comes later. prior_test_days counts the client's earlier test days of this pressure, of any series.
with
wanted as (
  select c.client_key, c.course_no, c.from_on, greatest(c.from_on, c.week0_on) as start_on, p.pressure
  from settled.courses as c
  cross join (values ('mip'), ('mep')) as p (pressure)
),
judged as (
  select
    w.client_key, w.course_no, w.pressure, t.tested_on, t.best_cmh2o, t.test_no, r.series_no,
    case
      when t.tested_on < cast(w.from_on - interval (s.baseline_days_before) day as date) then 'early'
      when t.tested_on > cast(w.start_on + interval (s.baseline_days_after) day as date) then 'late'
      when t.tested_on is not null then 'window'
    end as side
  from wanted as w
  cross join settings.current as s
  left join quantities.test_days as t on t.client_key = w.client_key and t.pressure = w.pressure
  left join quantities.series as r
    on r.client_key = t.client_key and r.pressure = t.pressure and r.tested_on = t.tested_on
),
placed as (
  select
    j.client_key, j.course_no, j.pressure, j.tested_on, j.best_cmh2o, j.test_no, j.series_no, j.side,
    row_number() over (
      partition by j.client_key, j.course_no, j.pressure, j.side order by j.tested_on desc
    ) as place_back
  from judged as j
),
picked as (
  select
    p.client_key, p.course_no, p.pressure,
    max(case when p.side = 'window' and p.place_back = 1 then p.tested_on end) as baseline_on,
    max(case when p.side = 'window' and p.place_back = 1 then p.best_cmh2o end) as baseline_cmh2o,
    max(case when p.side = 'window' and p.place_back = 1 then p.series_no end) as series_no,
    max(case when p.side = 'window' and p.place_back = 1 then p.test_no end) as test_no,
    count(*) filter (where p.side = 'early') as n_early,
    count(*) filter (where p.side = 'late') as n_late
  from placed as p
  group by p.client_key, p.course_no, p.pressure
)
select
  k.client_key,
  k.course_no,
  k.pressure,
  k.baseline_on,
  k.baseline_cmh2o,
  k.series_no,
  k.test_no = 1 as first_ever,
  k.test_no - 1 as prior_test_days,
  case
    when k.baseline_on is not null then null
    when k.n_early > 0 and k.n_late > 0 then 'only_tests_outside_window'
    when k.n_early > 0 then 'only_earlier_tests'
    when k.n_late > 0 then 'only_later_tests'
    else 'no_test'
  end as no_baseline_reason
from picked as k
