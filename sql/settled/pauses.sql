-- one row per pause of a client with a course; until_on is its last day, or the end of the data while it is open
with
belonging as (
  select
    r.client_key, c.course_no, r.from_on, r.to_on, r.reason, r.file, r.line, p.data_until_on,
    row_number() over (partition by r.client_key, r.from_on, r.reason order by r.from_batch desc, r.line desc) as newest
  from received.pauses as r
  cross join settings.current as s
  cross join settled.span as p
  inner join settled.courses as c
    on c.client_key = r.client_key and r.from_on >= c.record_from_on and r.from_on <= c.record_until_on
  where r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
    and r.from_on <= p.data_until_on
)
select
  b.client_key, b.course_no, b.from_on, b.to_on, b.reason,
  least(coalesce(b.to_on, b.data_until_on), b.data_until_on) as until_on,
  b.to_on is null as is_open,
  b.reason in ('acute_illness', 'hospital') as is_illness,
  b.file, b.line
from belonging as b
where b.newest = 1
