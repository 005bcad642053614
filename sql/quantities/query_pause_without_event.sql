-- one row per pause for illness without an event in it or in the days before it that the settings allow
select
  'pause_without_event' as cause,
  p.client_key,
  'pauses' as table_name,
  p.file,
  p.line,
  cast(1 as bigint) as n_rows,
  p.from_on as day_on,
  'Training was held for illness and no event is recorded. Should there be one?' as question,
  'The pause stands; safety counts no event for it.' as meanwhile
from settled.pauses as p
cross join settings.current as s
left join settled.events as v
  on v.client_key = p.client_key and v.event_on <= p.until_on
  and v.event_on >= cast(p.from_on - interval (s.pause_event_days) day as date)
where p.is_illness and v.client_key is null
