-- one row per other measurement, with its part in the change (start, 12_weeks, other) and what is known of the course
select
  o.client_key, o.course_no, c.is_primary, c.site, c.protocol, k.condition_group, o.measure, o.measured_on,
  d.quarter,
  o.week, o.value, o.role
from quantities.outcome_roles as o
inner join settled.calendar as d on d.day_on = o.measured_on
inner join settled.courses as c on c.client_key = o.client_key and c.course_no = o.course_no
inner join settled.clients as k on k.client_key = o.client_key
