-- one row per client, day and pressure: every test day, broken series included, with the site of that day
select
  t.client_key, t.course_no, w.site, c.protocol, t.pressure, t.tested_on,
  k.quarter,
  t.week, t.test_no, t.best_cmh2o, t.second_cmh2o, t.efforts_kept, t.repeatability, t.is_rep10, t.is_rep20, t.metric,
  t.lung_volume, t.posture, t.mouthpiece, t.instrument, t.same_tester, t.test_reason, t.under_10_cmh2o, r.series_no,
  r.break_reason
from quantities.test_days as t
inner join settled.calendar as k on k.day_on = t.tested_on
inner join quantities.series as r
  on r.client_key = t.client_key and r.pressure = t.pressure and r.tested_on = t.tested_on
inner join settled.courses as c on c.client_key = t.client_key and c.course_no = t.course_no
inner join settled.whereabouts as w
  on w.client_key = t.client_key and t.tested_on >= w.from_on and t.tested_on <= w.until_on
