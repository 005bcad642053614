-- one row per look at a listed client, with the quarter of that day
select
  r.client_key, r.course_no, r.reviewed_on, r.outcome,
  k.quarter
from settled.reviews as r
inner join settled.calendar as k on k.day_on = r.reviewed_on
