-- one row per untoward event of a client who is there, with its course, the site of that day and the course week
select
  e.client_key, e.course_no, w.site, c.protocol, e.event_on, e.kind, e.serious, e.judged_related, e.action,
  cast(floor(cast(date_diff('day', c.week0_on, e.event_on) as double) / 7) as bigint) as week
from settled.events as e
inner join settled.courses as c on c.client_key = e.client_key and c.course_no = e.course_no
inner join settled.whereabouts as w
  on w.client_key = e.client_key and e.event_on >= w.from_on and e.event_on <= w.until_on
