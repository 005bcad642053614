-- one row per diary week of an episode that is there, with its course
-- A diary that begins up to six days before the episode covers its first days and belongs to it.
with
belonging as (
  select
    r.client_key, e.course_no, r.week_from_on, r.returned, r.days_trained, r.sessions_done, r.breaths_done,
    r.usual_effort, r.effort_scale, r.file, r.line,
    row_number() over (partition by r.client_key, r.week_from_on order by e.from_on) as place
  from received.weekly_logs as r
  cross join settings.current as s
  cross join settled.span as p
  inner join settled.episodes as e
    on e.client_key = r.client_key
    and r.week_from_on >= cast(e.from_on - interval (6) day as date) and r.week_from_on <= e.last_on
  where r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
    and r.week_from_on <= p.data_until_on
)
select
  b.client_key, b.course_no, b.week_from_on, b.returned, b.days_trained, b.sessions_done, b.breaths_done,
  b.usual_effort, b.effort_scale, b.file, b.line
from belonging as b
where b.place = 1
