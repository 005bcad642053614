-- one row per day on which anything was done, tested or noted (in a build by slices: per slice too)
-- sums: settled.span puts them together. first_key and last_key differ where more than one client did something.
with
days as (
  select r.client_key, r.session_on as day_on, r.from_batch, r.to_batch from received.sessions as r
  union all
  select r.client_key, r.tested_on as day_on, r.from_batch, r.to_batch from received.tests as r
  union all
  select r.client_key, cast(r.week_from_on + interval (6) day as date) as day_on, r.from_batch, r.to_batch
  from received.weekly_logs as r
  where r.returned = 'yes'
  union all
  select r.client_key, r.event_on as day_on, r.from_batch, r.to_batch from received.events as r
  union all
  select r.client_key, r.measured_on as day_on, r.from_batch, r.to_batch from received.other_outcomes as r
)
select d.day_on, min(d.client_key) as first_key, max(d.client_key) as last_key
from days as d
cross join settings.current as s
where d.from_batch <= s.as_of_batch and (d.to_batch is null or d.to_batch > s.as_of_batch)
group by d.day_on
