-- one row per thing that happened to a manometer: told by the site, or seen because tests began to carry a new label
with
labels as (
  select w.site, t.instrument, min(t.tested_on) as first_on
  from quantities.test_days as t
  inner join settled.whereabouts as w
    on w.client_key = t.client_key and t.tested_on >= w.from_on and t.tested_on <= w.until_on
  where t.instrument is not null
  group by w.site, t.instrument
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
