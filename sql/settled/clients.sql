-- one row per client whose key is not held
-- Of two rows that agree in sex and age the later one counts.
with
current_rows as (
  select
    r.client_key, r.sex, r.age_years, r.height_cm, r.weight_kg, r.condition_group, r.respiratory_support, r.caution,
    r.research_consent, r.file, r.line,
    row_number() over (partition by r.client_key order by r.from_batch desc, r.line desc) as newest
  from received.clients as r
  cross join settings.current as s
  where r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
)
select
  c.client_key, c.sex, c.age_years, c.height_cm, c.weight_kg, c.condition_group, c.respiratory_support, c.caution,
  c.research_consent, c.file, c.line
from current_rows as c
anti join settled.held_clients as h on h.client_key = c.client_key
where c.newest = 1
