-- one row per site, quarter, source and kind (in a build by slices: per slice too): counts before every filter
-- sums: frames.safety adds them up; a person is in one slice only, so that people add up too.
-- Rows of clients who are not there and of held keys are in; so are rows set aside, whose kind is not known
-- ('set_aside'; rows told twice count once): a set-aside event is an event, a set-aside session may or may not have
-- been broken off (n_rows 0).
with
rows_aside as (
  select distinct
    a.table_name as source, a.site, a.client_key_ok, a.occurred_on,
    case when a.rule like '%.row.conflict' then '' else a.file end as file,
    case when a.rule like '%.row.conflict' then 0 else a.line end as line
  from settled.set_aside as a
  where a.table_name in ('events', 'sessions') and a.rule not like '%.row.repeated'
),
every as (
  select
    coalesce(w.site, 'not known') as site, t.day_on, t.source, t.kind, t.client_key,
    1 as counts, t.is_serious, t.is_related, 0 as aside
  from settled.untoward as t
  left join settled.whereabouts as w
    on w.client_key = t.client_key and t.day_on >= w.from_on and t.day_on <= w.until_on
  union all
  select
    coalesce(a.site, w.site, 'not known') as site, a.occurred_on as day_on, a.source, 'set_aside' as kind,
    a.client_key_ok as client_key, case when a.source = 'events' then 1 else 0 end as counts,
    false as is_serious, false as is_related, 1 as aside
  from rows_aside as a
  left join settled.whereabouts as w
    on w.client_key = a.client_key_ok
    and coalesce(a.occurred_on, date '9999-12-31') >= w.from_on
    and coalesce(a.occurred_on, date '9999-12-31') <= w.until_on
)
select
  e.site,
  coalesce(k.quarter, 'not known') as quarter,
  e.source,
  e.kind,
  cast(sum(e.counts) as bigint) as n_rows,
  count(distinct e.client_key) as n_people,
  count(*) filter (where e.is_serious) as n_serious,
  count(*) filter (where e.is_related) as n_related,
  cast(sum(e.aside) as bigint) as n_set_aside
from every as e
left join settled.calendar as k on k.day_on = e.day_on
group by
  e.site, coalesce(k.quarter, 'not known'), e.source, e.kind
