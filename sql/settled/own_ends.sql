-- one row per client under the date policy `relative`, none under `limited`: the last day that anything is told of
-- Days told from each client's own start know no common last day: what is open lasts until the client's own last row:
-- done, tested, noted, prescribed, paused, looked at, or an episode closed. Later weeks are not known to have been.
with
told as (
  select r.client_key, r.session_on as day_on, r.from_batch, r.to_batch from received.sessions as r
  union all
  select r.client_key, cast(r.week_from_on + interval (6) day as date) as day_on, r.from_batch, r.to_batch
  from received.weekly_logs as r
  union all
  select r.client_key, r.tested_on as day_on, r.from_batch, r.to_batch from received.tests as r
  union all
  select r.client_key, r.event_on as day_on, r.from_batch, r.to_batch from received.events as r
  union all
  select r.client_key, r.measured_on as day_on, r.from_batch, r.to_batch from received.other_outcomes as r
  union all
  select r.client_key, r.from_on as day_on, r.from_batch, r.to_batch from received.prescriptions as r
  union all
  select r.client_key, r.from_on as day_on, r.from_batch, r.to_batch from received.pauses as r
  union all
  select r.client_key, r.reviewed_on as day_on, r.from_batch, r.to_batch from received.reviews as r
  union all
  select r.client_key, coalesce(r.to_on, r.from_on) as day_on, r.from_batch, r.to_batch from received.episodes as r
)
select t.client_key, max(t.day_on) as last_on
from told as t
cross join settings.current as s
where s.date_policy = 'relative'
  and t.from_batch <= s.as_of_batch and (t.to_batch is null or t.to_batch > s.as_of_batch)
group by t.client_key
