-- one row per table whose current rows are not all settled, waiting, held, superseded or after the end of the data
with
current_rows as (
  select 'sessions' as table_name, r.client_key, r.session_on as day_on, r.file, r.line, r.from_batch, r.to_batch
  from received.sessions as r
  union all
  select 'events' as table_name, r.client_key, r.event_on as day_on, r.file, r.line, r.from_batch, r.to_batch
  from received.events as r
),
found as (
  select 'sessions' as table_name, t.file, t.line from settled.sessions as t
  union
  select 'events' as table_name, v.file, v.line from settled.events as v
  union
  select n.table_name, n.file, n.line from settled.not_belonging as n
),
lost as (
  select r.table_name, r.file, r.line
  from current_rows as r
  cross join settings.current as s
  cross join settled.span as p
  anti join settled.held_clients as h on h.client_key = r.client_key
  anti join found as f on f.table_name = r.table_name and f.file = r.file and f.line = r.line
  where r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
    and r.day_on <= p.data_until_on
)
select o.table_name, count(*) as n_rows
from lost as o
group by o.table_name
