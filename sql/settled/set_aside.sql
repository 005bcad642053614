-- one row per fault of a row that was set aside and has not been mended since
select
  r.batch_id, r.file, r.line, r.column_no, r.table_name, r.column_name, r.rule, r.expected, r.masked_value, r.site,
  r.client_key_ok, r.occurred_on
from received.set_aside as r
cross join settings.current as s
where r.batch_id <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
