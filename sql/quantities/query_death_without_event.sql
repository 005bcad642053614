-- one row per episode that ended with death while no death stands in events
select
  'death_without_event' as cause,
  e.client_key,
  'episodes' as table_name,
  e.file,
  e.line,
  cast(1 as bigint) as n_rows,
  e.last_on as day_on,
  'The episode ended with death; events holds none. Can the event be added, with its judgement?' as question,
  'The end of the episode stands; the safety section counts no death for it.' as meanwhile
from settled.episodes as e
left join settled.events as v on v.client_key = e.client_key and v.kind = 'death'
where e.end_reason = 'died' and v.client_key is null
