-- one row per slot of a day that two session rows tell of differently
select
  'slot_told_twice' as cause,
  a.client_key_ok as client_key,
  'sessions' as table_name,
  min(a.file) as file,
  min(a.line) as line,
  count(*) as n_rows,
  a.occurred_on as day_on,
  'Two rows tell of one slot of one day and differ. Which is right, or were there two sessions?' as question,
  'None of them counts; they are set aside.' as meanwhile
from settled.set_aside as a
where a.rule = 'sessions.row.conflict'
group by a.client_key_ok, a.occurred_on
