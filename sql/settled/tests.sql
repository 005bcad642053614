-- one row per effort of a client with a course; value_cmh2o is a positive size, null where the test was not done
-- A file whose MIP values are all at or below 0 wrote them with a sign; it is turned here, file by file.
with
belonging as (
  select
    r.client_key, c.course_no, r.tested_on, r.pressure, r.effort_no, r.value, r.unit, r.metric, r.lung_volume,
    r.posture, r.mouthpiece, r.instrument, r.acceptable, r.efforts_recorded, r.same_tester, r.test_reason,
    r.not_done_reason, r.file, r.line, u.cmh2o_per_unit, g.is_signed
  from received.tests as r
  cross join settings.current as s
  cross join settled.span as p
  left join reference.unit_factors as u on u.unit = r.unit
  left join settled.file_signs as g
    on g.from_batch = r.from_batch and g.file = r.file and g.pressure = r.pressure
  inner join settled.courses as c
    on c.client_key = r.client_key and r.tested_on >= c.record_from_on and r.tested_on <= c.record_until_on
  where r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
    and r.tested_on <= p.data_until_on
)
select
  b.client_key, b.course_no, b.tested_on, b.pressure, b.effort_no,
  case when b.pressure = 'mip' and b.is_signed then - b.value else b.value end
  * b.cmh2o_per_unit as value_cmh2o,
  b.metric, b.lung_volume, b.posture, b.mouthpiece, b.instrument, b.acceptable, b.efforts_recorded, b.same_tester,
  b.test_reason, b.not_done_reason, b.file, b.line
from belonging as b
