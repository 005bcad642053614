-- one row per day that a table may hold (1990 to 2101), with its quarter: the one place where a quarter is told
-- grand: days of the calendar, of nobody.
-- Under the date policy `limited` it is the calendar quarter, `2026Q3`. Under `relative` a stored day is a number of
-- days from the client's own start, which is day_zero_on: `block-001` is its first 13 weeks, `block-000` all before.
with
numbered as (
  select s.date_policy, s.day_zero_on, s.block_days, unnest(range(0, 40907)) as day_no
  from settings.current as s
),
days as (
  select
    n.date_policy, n.day_zero_on, n.block_days,
    cast(date '1990-01-01' + interval (n.day_no) day as date) as day_on
  from numbered as n
),
blocks as (
  select
    d.date_policy, d.day_on,
    cast(floor(cast(date_diff('day', d.day_zero_on, d.day_on) as double) / nullif(d.block_days, 0)) as bigint) + 1
      as block_no
  from days as d
)
select
  b.day_on,
  case
    when b.date_policy = 'relative' then 'block-' || lpad(cast(greatest(b.block_no, 0) as varchar), 3, '0')
    else cast(year(b.day_on) as varchar) || 'Q' || cast(quarter(b.day_on) as varchar)
  end as quarter
from blocks as b
