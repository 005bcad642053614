-- one row per client and table with rows on days that lie in no episode (after a death: see training_after_death)
with
after_death as (
  select e.client_key, min(e.last_on) as last_on
  from settled.episodes as e
  where e.end_reason = 'died'
  group by e.client_key
)
select
  'outside_episode' as cause,
  n.client_key,
  n.table_name,
  min(n.file) as file,
  min(n.line) as line,
  count(*) as n_rows,
  min(n.day_on) as day_on,
  'These rows lie on days outside every episode of the client. Which dates are right?' as question,
  'They count in no dose.' as meanwhile
from settled.not_belonging as n
left join after_death as d on d.client_key = n.client_key
where n.missing = 'day' and (d.last_on is null or n.day_on <= d.last_on)
group by n.client_key, n.table_name
