-- one row: the first and the last day that the data speak for
-- grand: from the active days of every slice.
-- Data end on the day given in the settings, else on the last day on which anything was done, tested or noted. A slip
-- of the pen far in the future must not stretch every open course: days split into blocks wherever nothing at all
-- happens for longer than lost_contact_days, and the last block with more than one client holds the end. Under the date
-- policy `relative` a day says nothing of the calendar: the end is the last of the clients' own ends.
with
active as (
  select a.day_on, min(a.first_key) as first_key, max(a.last_key) as last_key, 1 as everybody
  from settled.active_days as a
  group by a.day_on
),
gaps as (
  select
    c.day_on, c.first_key, c.last_key, c.everybody,
    lag(c.day_on) over (partition by c.everybody order by c.day_on) as before_on
  from active as c
),
blocks as (
  select
    g.day_on, g.first_key, g.last_key,
    sum(case when date_diff('day', g.before_on, g.day_on) > s.lost_contact_days then 1 else 0 end) over (
      partition by g.everybody order by g.day_on rows between unbounded preceding and current row
    ) as block_no
  from gaps as g
  cross join settings.current as s
),
counted as (
  select b.block_no, max(b.day_on) as last_on, min(b.first_key) as first_key, max(b.last_key) as last_key
  from blocks as b
  group by b.block_no
),
ends as (
  select
    coalesce(max(case when k.first_key <> k.last_key then k.last_on end), max(k.last_on)) as last_on
  from counted as k
),
own as (
  select max(o.last_on) as last_on from settled.own_ends as o
),
starts as (
  select min(a.day_on) as first_on from active as a
)
select
  a.first_on as data_from_on,
  case
    when s.data_until_on <> '' then cast(s.data_until_on as date)
    else coalesce(o.last_on, e.last_on)
  end as data_until_on
from ends as e
cross join starts as a
cross join own as o
cross join settings.current as s
