-- one row per pause of a client with a course; until_on is its last day, or the end of the data while it is open
-- (the client's own end, where there is one).
select
  r.client_key, c.course_no, r.from_on, r.to_on, r.reason,
  least(coalesce(r.to_on, date '9999-12-31'), coalesce(w.last_on, p.data_until_on)) as until_on,
  r.to_on is null as is_open,
  r.reason in ('acute_illness', 'hospital') as is_illness,
  r.file, r.line
from received.pauses as r
cross join settings.current as s
cross join settled.span as p
left join settled.own_ends as w on w.client_key = r.client_key
inner join settled.courses as c
  on c.client_key = r.client_key and r.from_on >= c.record_from_on and r.from_on <= c.record_until_on
where r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
  and r.from_on <= p.data_until_on
