-- one row per file at the last load that brought it
select f.file, f.table_name, f.rows_read, f.rows_kept, f.rows_set_aside, f.rows_unchanged
from settled.files as f
