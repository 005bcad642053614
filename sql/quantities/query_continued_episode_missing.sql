-- one row per episode that continues one which is not there
select
  'continued_episode_missing' as cause,
  e.client_key,
  'episodes' as table_name,
  e.file,
  e.line,
  cast(1 as bigint) as n_rows,
  e.from_on as day_on,
  'This episode continues an earlier one that is not there. Can the earlier one be sent?' as question,
  'It is read as a course of its own.' as meanwhile
from settled.episodes as e
anti join settled.episodes as b
  on b.client_key = e.client_key and b.episode_no = e.continues_episode_no and b.episode_no < e.episode_no
where e.continues_episode_no is not null
