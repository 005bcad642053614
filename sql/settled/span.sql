-- one row: the first and the last day that the data speak for
-- Data end on the day given in the settings, else on the last day on which anything was done, tested or noted.
with
days as (
  select r.session_on as day_on, r.from_batch, r.to_batch from received.sessions as r
  union all
  select r.tested_on as day_on, r.from_batch, r.to_batch from received.tests as r
  union all
  select cast(r.week_from_on + interval (6) day as date) as day_on, r.from_batch, r.to_batch
  from received.weekly_logs as r
  where r.returned = 'yes'
  union all
  select r.event_on as day_on, r.from_batch, r.to_batch from received.events as r
  union all
  select r.measured_on as day_on, r.from_batch, r.to_batch from received.other_outcomes as r
  union all
  select r.from_on as day_on, r.from_batch, r.to_batch from received.episodes as r
),
found as (
  select
    min(d.day_on) as first_on,
    max(d.day_on) as last_on
  from days as d
  cross join settings.current as s
  where d.from_batch <= s.as_of_batch and (d.to_batch is null or d.to_batch > s.as_of_batch)
)
select
  f.first_on as data_from_on,
  case when s.data_until_on <> '' then cast(s.data_until_on as date) else f.last_on end as data_until_on
from found as f
cross join settings.current as s
