-- one row per key that is not in clients, and table: its rows wait
select
  'client_missing' as cause,
  n.client_key,
  n.table_name,
  min(n.file) as file,
  min(n.line) as line,
  count(*) as n_rows,
  min(n.day_on) as day_on,
  'There is no row in clients for this key (not sent, or set aside). Can it be sent?' as question,
  'The rows wait and are in no figure until the client comes. Safety counts include them.' as meanwhile
from settled.not_belonging as n
where n.missing = 'client'
group by n.client_key, n.table_name
