-- one row per client whose key is not held
select
  r.client_key, r.sex, r.age_years, r.height_cm, r.weight_kg, r.condition_group, r.respiratory_support, r.caution,
  r.research_consent, r.file, r.line
from received.clients as r
cross join settings.current as s
anti join settled.held_clients as h on h.client_key = r.client_key
where r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
