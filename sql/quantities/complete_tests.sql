-- one row per course or test day and item of testing, in the quarter in which it fell due
-- A 12-week test falls due in the quarter in which its window ends, where there is a baseline and the course ran until
-- the window began. It is due by the end of the data; where that is the client's own, also once the course is closed.
-- A MEP baseline is expected where MEP was tested at all in the course.
with
courses as (
  select
    g.site, g.pressure, g.baseline_on, g.at12_on, c.from_on,
    coalesce(w.last_on, p.data_until_on) as data_until_on,
    w.last_on is not null and not c.is_open as is_over,
    cast(c.week0_on + interval (7 * s.window_12_low_weeks) day as date) as window_from_on,
    cast(c.week0_on + interval (7 * s.window_12_high_weeks) day as date) as window_until_on,
    c.last_on,
    b.no_baseline_reason is null or b.no_baseline_reason <> 'no_test' as is_tested
  from quantities.gains as g
  inner join settled.courses as c on c.client_key = g.client_key and c.course_no = g.course_no
  inner join quantities.baselines as b
    on b.client_key = g.client_key and b.course_no = g.course_no and b.pressure = g.pressure
  cross join settings.current as s
  cross join settled.span as p
  left join settled.own_ends as w on w.client_key = g.client_key
),
items as (
  select
    k.site,
    d.quarter,
    'baseline_' || k.pressure as item,
    1 as expected,
    case when k.baseline_on is not null then 1 else 0 end as filled
  from courses as k
  inner join settled.calendar as d on d.day_on = k.from_on
  where k.pressure = 'mip' or k.baseline_on is not null or k.is_tested
  union all
  select
    k.site,
    d.quarter,
    '12_week_' || k.pressure as item,
    1 as expected,
    case when k.at12_on is not null then 1 else 0 end as filled
  from courses as k
  inner join settled.calendar as d on d.day_on = k.window_until_on
  where k.baseline_on is not null and k.last_on >= k.window_from_on
    and (k.window_until_on <= k.data_until_on or k.is_over)
  union all
  select
    c.site,
    d.quarter,
    'efforts_kept' as item,
    1 as expected,
    case when t.efforts_kept is not null then 1 else 0 end as filled
  from quantities.test_days as t
  inner join settled.calendar as d on d.day_on = t.tested_on
  inner join settled.courses as c on c.client_key = t.client_key and c.course_no = t.course_no
)
select
  i.site,
  i.quarter,
  i.item,
  cast(i.expected as bigint) as expected,
  cast(i.filled as bigint) as filled
from items as i
