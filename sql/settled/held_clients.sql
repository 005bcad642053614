-- one row per client key that is held: its rows tell of two sexes or two ages, so it may be two people
-- Nothing of a held key enters a figure until the site has answered; safety counts are made before this.
select
  r.client_key,
  min(r.file) as file,
  min(r.line) as line,
  count(*) as n_rows
from received.clients as r
cross join settings.current as s
where r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
group by r.client_key
having min(r.sex) <> max(r.sex) or min(r.age_years) <> max(r.age_years)
