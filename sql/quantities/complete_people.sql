-- one row per person, course or event and item of the master record, in the quarter in which it fell due
with
people as (
  select
    c.site,
    d.quarter,
    k.height_cm, k.weight_kg, k.condition_group, k.research_consent, c.aim
  from settled.courses as c
  inner join settled.calendar as d on d.day_on = c.from_on
  inner join settled.clients as k on k.client_key = c.client_key
),
items as (
  select p.site, p.quarter, 'height_and_weight' as item, 1 as expected,
    case when p.height_cm is not null and p.weight_kg is not null then 1 else 0 end as filled
  from people as p
  union all
  select p.site, p.quarter, 'condition_group' as item, 1 as expected,
    case when p.condition_group is not null and p.condition_group <> 'unknown' then 1 else 0 end as filled
  from people as p
  union all
  select p.site, p.quarter, 'research_consent' as item, 1 as expected,
    case when p.research_consent is not null and p.research_consent <> 'unknown' then 1 else 0 end as filled
  from people as p
  union all
  select p.site, p.quarter, 'aim' as item, 1 as expected,
    case when p.aim is not null then 1 else 0 end as filled
  from people as p
  union all
  select
    c.site,
    d.quarter,
    'event_judged' as item, 1 as expected,
    case
      when e.serious is not null and e.serious <> 'unknown' and e.judged_related is not null
        and e.judged_related <> 'unknown' then 1
      else 0
    end as filled
  from settled.events as e
  inner join settled.calendar as d on d.day_on = e.event_on
  inner join settled.courses as c on c.client_key = e.client_key and c.course_no = e.course_no
)
select
  i.site,
  i.quarter,
  i.item,
  cast(i.expected as bigint) as expected,
  cast(i.filled as bigint) as filled
from items as i
