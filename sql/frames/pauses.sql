-- one row per pause, with its course and the course week in which it begins
select
  p.client_key, p.course_no, c.site, c.protocol, p.from_on, p.to_on, p.until_on, p.reason, p.is_open, p.is_illness,
  cast(floor(cast(date_diff('day', c.week0_on, p.from_on) as double) / 7) as bigint) as week
from settled.pauses as p
inner join settled.courses as c on c.client_key = p.client_key and c.course_no = p.course_no
