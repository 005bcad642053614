-- one row per site, quarter and item: how many were expected and how many are filled (complete is not plausible)
-- grand: from the sums of every slice.
select
  i.site,
  i.quarter,
  i.item,
  cast(sum(i.expected) as bigint) as expected,
  cast(sum(i.filled) as bigint) as filled
from quantities.complete_sums as i
group by i.site, i.quarter, i.item
having sum(i.expected) > 0
