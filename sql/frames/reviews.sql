-- one row per look at a listed client, with the quarter of that day
select
  r.client_key, r.course_no, r.reviewed_on, r.outcome,
  cast(year(r.reviewed_on) as varchar) || 'Q' || cast(quarter(r.reviewed_on) as varchar) as quarter
from settled.reviews as r
