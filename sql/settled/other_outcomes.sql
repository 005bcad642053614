-- one row per other measurement of a client with a course
select
  r.client_key, c.course_no, r.measured_on, r.measure, r.value, r.file, r.line
from received.other_outcomes as r
cross join settings.current as s
cross join settled.span as p
inner join settled.courses as c
  on c.client_key = r.client_key and r.measured_on >= c.record_from_on and r.measured_on <= c.record_until_on
where r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
  and r.measured_on <= p.data_until_on
