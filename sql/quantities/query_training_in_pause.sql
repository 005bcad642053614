-- one row per course with sessions done on days on which training was held
select
  'training_in_pause' as cause,
  m.client_key,
  'sessions' as table_name,
  min(m.file) as file,
  min(m.line) as line,
  count(*) as n_rows,
  min(m.session_on) as day_on,
  'There are sessions inside a documented pause. When did the pause begin and end?' as question,
  'The sessions count, and the days stay paused.' as meanwhile
from quantities.session_marks as m
where m.is_paused and m.is_done
group by m.client_key, m.course_no
