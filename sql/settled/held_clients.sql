-- one row per client key that is held: its rows in clients disagree, so it may be two people
-- Such rows were set aside together at the load; nothing of the key enters a figure until the site has answered, an
-- earlier row that was sound included. Safety counts are made before this.
select
  a.client_key_ok as client_key,
  min(a.file) as file,
  min(a.line) as line,
  count(*) as n_rows
from settled.set_aside as a
where a.rule = 'clients.row.conflict' and a.client_key_ok is not null
group by a.client_key_ok
