-- one row per pause that has been open for longer than the settings allow
select
  'pause_open' as cause,
  p.client_key,
  'pauses' as table_name,
  p.file,
  p.line,
  cast(1 as bigint) as n_rows,
  p.from_on as day_on,
  'This pause has no last day and has lasted long. Does it still hold, or when did it end?' as question,
  'Training is taken as held from its first day on.' as meanwhile
from settled.pauses as p
cross join settings.current as s
where p.is_open and date_diff('day', p.from_on, p.until_on) > s.open_pause_days
