-- one row per client, day, pressure and pair of manometers used on that day, with site and quarter
select
  p.client_key, p.course_no, w.site, p.pressure, p.tested_on,
  k.quarter,
  p.first_instrument, p.second_instrument, p.first_cmh2o, p.second_cmh2o
from quantities.instrument_pairs as p
inner join settled.calendar as k on k.day_on = p.tested_on
inner join settled.whereabouts as w
  on w.client_key = p.client_key and p.tested_on >= w.from_on and p.tested_on <= w.until_on
