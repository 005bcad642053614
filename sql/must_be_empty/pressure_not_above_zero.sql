-- one row per effort whose size is not above 0: a sign was not turned
select t.client_key, t.tested_on, t.pressure, t.effort_no, t.file, t.line
from settled.tests as t
where t.value_cmh2o <= 0
