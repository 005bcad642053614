-- one row per client and stay at a site: which site to ask about a day, known before any filter
-- The first stay reaches back, the last one forward without end. Held keys are in here too.
with
stays as (
  select
    r.client_key, r.from_on, r.site,
    row_number() over (partition by r.client_key, r.from_on order by r.episode_no desc, r.line desc) as newest
  from received.episodes as r
  cross join settings.current as s
  where r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
),
ordered as (
  select
    t.client_key, t.site, t.from_on,
    row_number() over (partition by t.client_key order by t.from_on) as stay_no,
    lead(t.from_on) over (partition by t.client_key order by t.from_on) as next_from_on
  from stays as t
  where t.newest = 1
)
select
  o.client_key,
  o.stay_no,
  o.site,
  case when o.stay_no = 1 then date '0001-01-01' else o.from_on end as from_on,
  coalesce(cast(o.next_from_on - interval (1) day as date), date '9999-12-31') as until_on
from ordered as o
