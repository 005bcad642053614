-- one row per table and key that stands in more than one of its rows, of the tables that are not split by client
with
rows_named as (
  select 'safety' as frame, concat_ws('|', f.site, f.quarter, f.source, f.kind) as row_name from frames.safety as f
  union all
  select 'completeness' as frame, concat_ws('|', f.site, f.quarter, f.item) as row_name from frames.completeness as f
  union all
  select 'files' as frame, f.file as row_name from frames.files as f
)
select r.frame, r.row_name, count(*) as n_rows
from rows_named as r
group by r.frame, r.row_name
having count(*) > 1
