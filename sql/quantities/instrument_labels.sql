-- one row per site and manometer label (in a build by slices: per slice too): the first day it was seen in a test
-- sums: frames.instruments takes the earliest. Seen only under the date policy `limited`: days told from each client's
-- own start have no order between clients.
select w.site, t.instrument, min(t.tested_on) as first_on
from quantities.test_days as t
inner join settled.whereabouts as w
  on w.client_key = t.client_key and t.tested_on >= w.from_on and t.tested_on <= w.until_on
cross join settings.current as s
where t.instrument is not null and s.date_policy = 'limited'
group by w.site, t.instrument
