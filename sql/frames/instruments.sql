-- one row per thing that happened to a manometer: told by the site, or seen because tests began to carry a new label
-- grand: from the labels of every slice.
with
labels as (
  select l.site, l.instrument, min(l.first_on) as first_on
  from quantities.instrument_labels as l
  group by l.site, l.instrument
),
placed as (
  select b.site, b.instrument, b.first_on, min(b.first_on) over (partition by b.site) as site_first_on
  from labels as b
)
select i.site, i.instrument, i.event_on, i.what, 'told' as source
from settled.instruments as i
union all
select p.site, p.instrument, p.first_on as event_on, 'label first seen' as what, 'seen' as source
from placed as p
where p.first_on > p.site_first_on
