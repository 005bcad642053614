-- one row per open course without any record for longer than the settings allow
with
records as (
  select t.client_key, t.course_no, t.session_on as day_on from settled.sessions as t
  union all
  select t.client_key, t.course_no, t.tested_on as day_on from settled.tests as t
  union all
  select w.client_key, w.course_no, w.week_from_on as day_on from settled.weekly_logs as w where w.returned = 'yes'
  union all
  select v.client_key, v.course_no, v.event_on as day_on from settled.events as v
  union all
  select p.client_key, p.course_no, p.from_on as day_on from settled.prescriptions as p
  union all
  select p.client_key, p.course_no, p.from_on as day_on from settled.pauses as p
),
last_records as (
  select r.client_key, r.course_no, max(r.day_on) as day_on
  from records as r
  group by r.client_key, r.course_no
)
select
  'lost_contact' as cause,
  c.client_key,
  'episodes' as table_name,
  e.file,
  e.line,
  cast(1 as bigint) as n_rows,
  coalesce(r.day_on, c.from_on) as day_on,
  'This course is open and nothing has been recorded for long. Is it still running?' as question,
  'The course stays open; its weeks without a log are unknown, not missed.' as meanwhile
from settled.courses as c
cross join settings.current as s
inner join settled.episodes as e on e.client_key = c.client_key and e.episode_no = c.course_no
left join last_records as r on r.client_key = c.client_key and r.course_no = c.course_no
where c.is_open and date_diff('day', coalesce(r.day_on, c.from_on), c.last_on) > s.lost_contact_days
