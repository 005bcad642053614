-- one row per client with sessions, or diaries that came back, after an episode that ended with death
with
ends as (
  select e.client_key, min(e.last_on) as last_on
  from settled.episodes as e
  where e.end_reason = 'died'
  group by e.client_key
)
select
  'training_after_death' as cause,
  n.client_key,
  n.table_name,
  min(n.file) as file,
  min(n.line) as line,
  count(*) as n_rows,
  min(n.day_on) as day_on,
  'The episode ended with death and there is training after it. Which is right?' as question,
  'The rows after that day count in no dose; the end of the episode stands.' as meanwhile
from settled.not_belonging as n
inner join ends as d on d.client_key = n.client_key and n.day_on > d.last_on
where n.missing = 'day' and n.table_name in ('sessions', 'weekly_logs')
group by n.client_key, n.table_name
