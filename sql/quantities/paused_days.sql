-- one row per client and day on which training was held by a documented pause
with
days as (
  select
    p.client_key, p.from_on, p.is_illness,
    unnest(range(0, date_diff('day', p.from_on, p.until_on) + 1)) as day_no
  from settled.pauses as p
),
dated as (
  select d.client_key, cast(d.from_on + interval (d.day_no) day as date) as day_on, d.is_illness
  from days as d
)
select
  d.client_key,
  d.day_on,
  count(*) filter (where d.is_illness) > 0 as is_ill
from dated as d
group by d.client_key, d.day_on
