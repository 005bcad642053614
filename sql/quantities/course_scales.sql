-- one row per course with rated weeks: the effort scale that carries most of its ratings (scales are never pooled)
with
counted as (
  select
    w.client_key, w.course_no, w.effort_scale,
    cast(sum(w.rated_below + w.rated_in + w.rated_above) as bigint) as n_rated
  from quantities.client_weeks as w
  where w.effort_scale is not null
  group by w.client_key, w.course_no, w.effort_scale
),
placed as (
  select
    c.client_key, c.course_no, c.effort_scale,
    row_number() over (partition by c.client_key, c.course_no order by c.n_rated desc, c.effort_scale) as place
  from counted as c
)
select p.client_key, p.course_no, p.effort_scale
from placed as p
where p.place = 1
