-- one row per dated note or decision of a review, as of the batch
-- grand: words of the clinic, about nobody.
select
  r.kind, r.on_day, r.text, r.sites, r.of_quarter, r.measure, r.followed
from received.annotations as r
cross join settings.current as s
where r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
