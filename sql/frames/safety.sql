-- one row per site, quarter, source and kind: untoward events and sessions broken off, counted before every filter
-- grand: from the sums of every slice.
select
  t.site,
  t.quarter,
  t.source,
  t.kind,
  cast(sum(t.n_rows) as bigint) as n_rows,
  cast(sum(t.n_people) as bigint) as n_people,
  cast(sum(t.n_serious) as bigint) as n_serious,
  cast(sum(t.n_related) as bigint) as n_related,
  cast(sum(t.n_set_aside) as bigint) as n_set_aside
from quantities.safety_sums as t
group by t.site, t.quarter, t.source, t.kind
