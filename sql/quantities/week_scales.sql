-- one row per course and week with rated sessions: the effort scale that more of them used (scales are never pooled)
with
counted as (
  select
    m.client_key, m.course_no, m.week_no, m.effort_scale,
    count(*) as n_rated
  from quantities.session_marks as m
  where m.effort_class is not null
  group by m.client_key, m.course_no, m.week_no, m.effort_scale
),
placed as (
  select
    c.client_key, c.course_no, c.week_no, c.effort_scale, c.n_rated,
    row_number() over (
      partition by c.client_key, c.course_no, c.week_no order by c.n_rated desc, c.effort_scale
    ) as place
  from counted as c
)
select
  p.client_key, p.course_no, p.week_no,
  max(case when p.place = 1 then p.effort_scale end) as effort_scale,
  cast(sum(case when p.place > 1 then p.n_rated else 0 end) as bigint) as rated_other_scale
from placed as p
group by p.client_key, p.course_no, p.week_no
