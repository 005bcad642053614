-- one row per dated note or decision of a review, with the quarter of its day
-- grand: words of the clinic, about nobody.
select
  a.kind, a.on_day, d.quarter, a.text, a.sites, a.of_quarter, a.measure, a.followed
from settled.annotations as a
inner join settled.calendar as d on d.day_on = a.on_day
