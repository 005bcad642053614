-- one row per test day whose best effort is under 10 cmH2O
select
  'under_10_cmh2o' as cause,
  d.client_key,
  'tests' as table_name,
  min(t.file) as file,
  min(t.line) as line,
  count(*) as n_rows,
  d.tested_on as day_on,
  'The best effort of this day is under 10 cmH2O. Is the unit right?' as question,
  'The value counts as it stands: a low value is never set aside for being low.' as meanwhile
from quantities.test_days as d
inner join settled.tests as t
  on t.client_key = d.client_key and t.tested_on = d.tested_on and t.pressure = d.pressure and t.value_cmh2o is not null
where d.under_10_cmh2o
group by d.client_key, d.tested_on, d.pressure
