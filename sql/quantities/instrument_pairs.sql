-- one row per client, day, pressure and pair of manometers used on that day: the best acceptable effort on each
with
best as (
  select t.client_key, t.course_no, t.pressure, t.tested_on, t.instrument, max(t.value_cmh2o) as best_cmh2o
  from settled.tests as t
  where t.value_cmh2o is not null and (t.acceptable is null or t.acceptable <> 'no') and t.instrument is not null
  group by t.client_key, t.course_no, t.pressure, t.tested_on, t.instrument
)
select
  a.client_key, a.course_no, a.pressure, a.tested_on,
  a.instrument as first_instrument, b.instrument as second_instrument,
  a.best_cmh2o as first_cmh2o, b.best_cmh2o as second_cmh2o
from best as a
inner join best as b
  on b.client_key = a.client_key and b.pressure = a.pressure and b.tested_on = a.tested_on
  and b.instrument > a.instrument
