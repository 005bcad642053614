-- one row per untoward event and per session broken off, before every filter: held keys and missing clients too
select
  r.client_key, 'events' as source, r.kind, r.event_on as day_on,
  coalesce(r.serious = 'yes', false) as is_serious,
  coalesce(r.judged_related = 'yes', false) as is_related
from received.events as r
cross join settings.current as s
where r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
union all
select
  r.client_key, 'sessions' as source, coalesce(r.stop_reason, 'not_recorded') as kind, r.session_on as day_on,
  false as is_serious,
  false as is_related
from received.sessions as r
cross join settings.current as s
where r.stopped_early = 'yes' and r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
