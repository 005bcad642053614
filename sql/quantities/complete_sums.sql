-- one row per site, quarter and item (in a build by slices: per slice too): what was expected and what is filled
-- sums: frames.completeness adds them up.
with
items as (
  select w.site, w.quarter, w.item, w.expected, w.filled from quantities.complete_weeks as w
  union all
  select t.site, t.quarter, t.item, t.expected, t.filled from quantities.complete_tests as t
  union all
  select p.site, p.quarter, p.item, p.expected, p.filled from quantities.complete_people as p
)
select
  i.site,
  i.quarter,
  i.item,
  cast(sum(i.expected) as bigint) as expected,
  cast(sum(i.filled) as bigint) as filled
from items as i
group by i.site, i.quarter, i.item
