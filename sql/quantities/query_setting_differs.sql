-- one row per course with sessions at another setting than prescribed and no reason for it
select
  'setting_differs' as cause,
  m.client_key,
  'sessions' as table_name,
  min(m.file) as file,
  min(m.line) as line,
  count(*) as n_rows,
  min(m.session_on) as day_on,
  'Sessions were done at another setting than prescribed, without a reason. Was a change not recorded?' as question,
  'Possible unrecorded change: the sessions count as they are.' as meanwhile
from quantities.session_marks as m
where m.differs_without_reason and m.is_done
group by m.client_key, m.course_no
