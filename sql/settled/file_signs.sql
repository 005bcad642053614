-- one row per batch, file and pressure: whether the file wrote its values with a sign, that is all at or below 0
-- grand: one pass over every test, a few groups. (A file of mixed signs never came in.)
select r.from_batch, r.file, r.pressure, max(r.value) <= 0 as is_signed
from received.tests as r
cross join settings.current as s
where r.from_batch <= s.as_of_batch
group by r.from_batch, r.file, r.pressure
