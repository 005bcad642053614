-- one row per diary week whose sessions differ from the session rows of the same seven days
with
counted as (
  select
    w.client_key, w.course_no, w.week_from_on, w.sessions_done, w.file, w.line,
    count(*) filter (where m.is_done) as n_sessions
  from settled.weekly_logs as w
  inner join quantities.session_marks as m
    on m.client_key = w.client_key and m.course_no = w.course_no
    and m.session_on >= w.week_from_on and m.session_on <= cast(w.week_from_on + interval (6) day as date)
  where w.returned = 'yes' and w.sessions_done is not null
  group by w.client_key, w.course_no, w.week_from_on, w.sessions_done, w.file, w.line
)
select
  'diary_disagrees' as cause,
  c.client_key,
  'weekly_logs' as table_name,
  c.file,
  c.line,
  cast(1 as bigint) as n_rows,
  c.week_from_on as day_on,
  'The diary of this week and its session rows give different numbers of sessions. Which is right?' as question,
  'The session rows count.' as meanwhile
from counted as c
where c.n_sessions <> c.sessions_done
