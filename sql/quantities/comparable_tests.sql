-- one row per course, pressure and comparable test day: the baseline, and later days of the same series
-- A test speaks for a course until the next course starts, and so long after its last day as the settings say.
select
  t.client_key,
  b.course_no,
  t.pressure,
  t.tested_on,
  t.test_no,
  t.best_cmh2o as value_cmh2o,
  t.tested_on = b.baseline_on as is_baseline,
  case
    when t.tested_on = b.baseline_on then cast(0 as double)
    else cast(date_diff('day', c.week0_on, t.tested_on) as double) / 7
  end as week,
  lag(t.tested_on) over (partition by t.client_key, b.course_no, t.pressure order by t.tested_on) as before_on,
  row_number() over (partition by t.client_key, b.course_no, t.pressure order by t.tested_on desc) as place_back,
  t.efforts_kept,
  t.instrument,
  t.same_tester,
  t.mouthpiece,
  t.posture,
  t.metric,
  b.first_ever,
  b.prior_test_days
from quantities.baselines as b
cross join settings.current as s
inner join settled.courses as c on c.client_key = b.client_key and c.course_no = b.course_no
inner join quantities.test_days as t
  on t.client_key = b.client_key and t.pressure = b.pressure and t.tested_on >= b.baseline_on
  and t.tested_on <= c.record_until_on
  and t.tested_on <= cast(c.last_on + interval (s.tests_after_course_days) day as date)
inner join quantities.series as r
  on r.client_key = t.client_key and r.pressure = t.pressure and r.tested_on = t.tested_on
  and r.series_no = b.series_no
