-- one row per session row whose morning or evening is told by another row as well
select
  'slot_told_twice' as cause,
  t.client_key,
  'sessions' as table_name,
  t.file,
  t.line,
  cast(1 as bigint) as n_rows,
  t.session_on as day_on,
  'Two rows tell of one slot of one day. Was it one session or two?' as question,
  'The row with more breaths counts, this one does not.' as meanwhile
from settled.sessions as t
where t.same_slot_no > 1
