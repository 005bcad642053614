-- one row per client and table with rows on a day long after everybody else's last one
select
  'after_the_end' as cause,
  n.client_key,
  n.table_name,
  min(n.file) as file,
  min(n.line) as line,
  count(*) as n_rows,
  min(n.day_on) as day_on,
  'These rows lie long after the last day of everybody else. Is the date right?' as question,
  'They are in no figure.' as meanwhile
from settled.not_belonging as n
where n.missing = 'later'
group by n.client_key, n.table_name
