-- one row per thing done to a manometer
select
  r.instrument, r.site, r.event_on, r.what, r.file, r.line
from received.instruments as r
cross join settings.current as s
where r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
