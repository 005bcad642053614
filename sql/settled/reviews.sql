-- one row per look at a client with a course, and the course begun last before it
select
  r.client_key, c.course_no, r.reviewed_on, r.outcome, r.file, r.line
from received.reviews as r
cross join settings.current as s
cross join settled.span as p
inner join settled.courses as c
  on c.client_key = r.client_key and r.reviewed_on >= c.record_from_on and r.reviewed_on <= c.record_until_on
where r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
  and r.reviewed_on <= p.data_until_on
