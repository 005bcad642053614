-- one row per input table: the counts of its file at the last load that brought it
-- Files of corrections answer rows that were set aside; they hold a few rows of a table and do not stand for it.
with
loads as (
  select
    f.batch_id, f.file, f.table_name, f.sha256, f.rows_read, f.rows_kept, f.rows_set_aside, f.rows_unchanged,
    row_number() over (partition by f.table_name order by f.batch_id desc) as newest
  from received.files as f
  cross join settings.current as s
  where f.batch_id <= s.as_of_batch and not coalesce(f.is_correction, false)
)
select
  l.batch_id, l.file, l.table_name, l.sha256, l.rows_read, l.rows_kept, l.rows_set_aside, l.rows_unchanged
from loads as l
where l.newest = 1
