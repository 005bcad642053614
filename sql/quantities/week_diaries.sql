-- one row per course and week with a returned diary that gives sessions: its counts and its one effort rating
-- A diary week may begin on another weekday than the course: it goes to the course week that holds most of its days, at
-- the edges to the first or the last one. Two diaries of one course week add up; the later one gives the effort.
with
counted as (
  select
    w.client_key, w.course_no, w.week_from_on, w.sessions_done, w.breaths_done, w.usual_effort, w.effort_scale,
    least(
      greatest(cast(floor(cast(date_diff('day', c.week0_on, w.week_from_on) + 3 as double) / 7) as bigint), 0),
      cast(floor(cast(date_diff('day', c.week0_on, c.last_on) as double) / 7) as bigint)
    ) as week_no
  from settled.weekly_logs as w
  inner join settled.courses as c on c.client_key = w.client_key and c.course_no = w.course_no
  where w.returned = 'yes' and w.sessions_done is not null
),
placed as (
  select
    c.client_key, c.course_no, c.week_no, c.week_from_on, c.sessions_done, c.breaths_done, c.usual_effort,
    c.effort_scale,
    row_number() over (partition by c.client_key, c.course_no, c.week_no order by c.week_from_on desc) as place_back
  from counted as c
)
select
  p.client_key,
  p.course_no,
  p.week_no,
  cast(sum(p.sessions_done) as bigint) as sessions_done,
  case when count(*) filter (where p.breaths_done is null) = 0 then cast(sum(p.breaths_done) as bigint) end
    as breaths_done,
  max(case when p.place_back = 1 then p.usual_effort end) as usual_effort,
  max(case when p.place_back = 1 and p.usual_effort is not null then coalesce(p.effort_scale, 'not_recorded') end)
    as effort_scale
from placed as p
group by p.client_key, p.course_no, p.week_no
