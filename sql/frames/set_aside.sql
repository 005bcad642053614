-- one row per fault of a row that was set aside and has not been mended since
select
  a.batch_id, a.file, a.line, a.column_no, a.table_name, a.column_name, a.rule, a.expected, a.masked_value, a.site,
  a.client_key_ok, a.occurred_on
from settled.set_aside as a
