-- one row: the first and the last day that the data speak for
-- Data end on the day given in the settings, else on the last day on which anything was done, tested or noted. A slip
-- of the pen far in the future must not stretch every open course: days split into blocks wherever nothing at all
-- happens for longer than lost_contact_days, and the last block with more than one client holds the end.
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
),
found as (
  select distinct d.client_key, d.day_on
  from days as d
  cross join settings.current as s
  where d.from_batch <= s.as_of_batch and (d.to_batch is null or d.to_batch > s.as_of_batch)
),
calendar as (
  select distinct f.day_on, 1 as everybody from found as f
),
gaps as (
  select
    c.day_on, c.everybody,
    lag(c.day_on) over (partition by c.everybody order by c.day_on) as before_on
  from calendar as c
),
blocks as (
  select
    g.day_on,
    sum(case when date_diff('day', g.before_on, g.day_on) > s.lost_contact_days then 1 else 0 end) over (
      partition by g.everybody order by g.day_on rows between unbounded preceding and current row
    ) as block_no
  from gaps as g
  cross join settings.current as s
),
counted as (
  select b.block_no, max(f.day_on) as last_on, count(distinct f.client_key) as n_clients
  from found as f
  inner join blocks as b on b.day_on = f.day_on
  group by b.block_no
),
ends as (
  select
    coalesce(max(case when k.n_clients > 1 then k.last_on end), max(k.last_on)) as last_on
  from counted as k
),
starts as (
  select min(f.day_on) as first_on from found as f
)
select
  a.first_on as data_from_on,
  case when s.data_until_on <> '' then cast(s.data_until_on as date) else e.last_on end as data_until_on
from ends as e
cross join starts as a
cross join settings.current as s
