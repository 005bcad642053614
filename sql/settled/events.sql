-- one row per untoward event of a client with a course; events after a course's end are told under that course
select
  r.client_key, c.course_no, r.event_on, r.kind, r.serious, r.judged_related, r.action, r.file, r.line
from received.events as r
cross join settings.current as s
cross join settled.span as p
inner join settled.courses as c
  on c.client_key = r.client_key and r.event_on >= c.record_from_on and r.event_on <= c.record_until_on
where r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
  and r.event_on <= p.data_until_on
