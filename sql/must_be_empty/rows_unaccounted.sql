-- one row per client and table with current rows that are not settled, waiting, held or after the end of the data
with
current_rows as (
  select 'sessions' as table_name, r.client_key, r.session_on as day_on, r.file, r.line, r.from_batch, r.to_batch
  from received.sessions as r
  union all
  select 'events' as table_name, r.client_key, r.event_on as day_on, r.file, r.line, r.from_batch, r.to_batch
  from received.events as r
),
found as (
  select 'sessions' as table_name, t.client_key, t.file, t.line from settled.sessions as t
  union
  select 'events' as table_name, v.client_key, v.file, v.line from settled.events as v
  union
  select n.table_name, n.client_key, n.file, n.line from settled.not_belonging as n
),
lost as (
  select r.table_name, r.client_key
  from current_rows as r
  cross join settings.current as s
  cross join settled.span as p
  anti join settled.held_clients as h on h.client_key = r.client_key
  anti join found as f
    on f.client_key = r.client_key and f.table_name = r.table_name and f.file = r.file and f.line = r.line
  where r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
    and r.day_on <= p.data_until_on
)
select o.client_key, o.table_name, count(*) as n_rows
from lost as o
group by o.client_key, o.table_name
