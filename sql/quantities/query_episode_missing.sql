-- one row per client without an episode, and table: its rows wait
with
rows_waiting as (
  select n.client_key, n.table_name, n.file, n.line, n.day_on
  from settled.not_belonging as n
  where n.missing = 'episode'
  union all
  select c.client_key, 'clients' as table_name, c.file, c.line, cast(null as date) as day_on
  from settled.clients as c
  anti join settled.whereabouts as w on w.client_key = c.client_key
)
select
  'episode_missing' as cause,
  n.client_key,
  n.table_name,
  min(n.file) as file,
  min(n.line) as line,
  count(*) as n_rows,
  min(n.day_on) as day_on,
  'This client has no row in episodes (not sent, or set aside). Can it be sent?' as question,
  'The rows wait and are in no figure until the episode comes. Safety counts include them.' as meanwhile
from rows_waiting as n
group by n.client_key, n.table_name
