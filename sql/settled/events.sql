-- one row per untoward event of a client with a course; events after a course's end are told under that course
with
belonging as (
  select
    r.client_key, c.course_no, r.event_on, r.kind, r.serious, r.judged_related, r.action, r.file, r.line,
    row_number() over (partition by r.client_key, r.event_on, r.kind order by r.from_batch desc, r.line desc) as newest
  from received.events as r
  cross join settings.current as s
  cross join settled.span as p
  inner join settled.courses as c
    on c.client_key = r.client_key and r.event_on >= c.record_from_on and r.event_on <= c.record_until_on
  where r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
    and r.event_on <= p.data_until_on
)
select
  b.client_key, b.course_no, b.event_on, b.kind, b.serious, b.judged_related, b.action, b.file, b.line
from belonging as b
where b.newest = 1
