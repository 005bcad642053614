-- one row per question to a site: what should be settled, where it stands, and what is done meanwhile
with
questions as (
  select q.cause, q.client_key, q.table_name, q.file, q.line, q.n_rows, q.day_on, q.question, q.meanwhile
  from quantities.query_after_the_end as q
  union all
  select q.cause, q.client_key, q.table_name, q.file, q.line, q.n_rows, q.day_on, q.question, q.meanwhile
  from quantities.query_client_missing as q
  union all
  select q.cause, q.client_key, q.table_name, q.file, q.line, q.n_rows, q.day_on, q.question, q.meanwhile
  from quantities.query_continued_episode_missing as q
  union all
  select q.cause, q.client_key, q.table_name, q.file, q.line, q.n_rows, q.day_on, q.question, q.meanwhile
  from quantities.query_death_without_event as q
  union all
  select q.cause, q.client_key, q.table_name, q.file, q.line, q.n_rows, q.day_on, q.question, q.meanwhile
  from quantities.query_diary_disagrees as q
  union all
  select q.cause, q.client_key, q.table_name, q.file, q.line, q.n_rows, q.day_on, q.question, q.meanwhile
  from quantities.query_episode_missing as q
  union all
  select q.cause, q.client_key, q.table_name, q.file, q.line, q.n_rows, q.day_on, q.question, q.meanwhile
  from quantities.query_lost_contact as q
  union all
  select q.cause, q.client_key, q.table_name, q.file, q.line, q.n_rows, q.day_on, q.question, q.meanwhile
  from quantities.query_maybe_two_people as q
  union all
  select q.cause, q.client_key, q.table_name, q.file, q.line, q.n_rows, q.day_on, q.question, q.meanwhile
  from quantities.query_no_prescription as q
  union all
  select q.cause, q.client_key, q.table_name, q.file, q.line, q.n_rows, q.day_on, q.question, q.meanwhile
  from quantities.query_outside_episode as q
  union all
  select q.cause, q.client_key, q.table_name, q.file, q.line, q.n_rows, q.day_on, q.question, q.meanwhile
  from quantities.query_pause_open as q
  union all
  select q.cause, q.client_key, q.table_name, q.file, q.line, q.n_rows, q.day_on, q.question, q.meanwhile
  from quantities.query_pause_without_event as q
  union all
  select q.cause, q.client_key, q.table_name, q.file, q.line, q.n_rows, q.day_on, q.question, q.meanwhile
  from quantities.query_setting_differs as q
  union all
  select q.cause, q.client_key, q.table_name, q.file, q.line, q.n_rows, q.day_on, q.question, q.meanwhile
  from quantities.query_slot_told_twice as q
  union all
  select q.cause, q.client_key, q.table_name, q.file, q.line, q.n_rows, q.day_on, q.question, q.meanwhile
  from quantities.query_training_after_death as q
  union all
  select q.cause, q.client_key, q.table_name, q.file, q.line, q.n_rows, q.day_on, q.question, q.meanwhile
  from quantities.query_training_in_pause as q
  union all
  select q.cause, q.client_key, q.table_name, q.file, q.line, q.n_rows, q.day_on, q.question, q.meanwhile
  from quantities.query_two_scales_in_a_week as q
  union all
  select q.cause, q.client_key, q.table_name, q.file, q.line, q.n_rows, q.day_on, q.question, q.meanwhile
  from quantities.query_under_10_cmh2o as q
)
select
  q.cause,
  coalesce(w.site, 'not known') as site,
  q.client_key,
  q.table_name,
  q.file,
  q.line,
  q.n_rows,
  q.day_on,
  q.question,
  q.meanwhile
from questions as q
left join settled.whereabouts as w
  on w.client_key = q.client_key
  and coalesce(q.day_on, date '9999-12-31') >= w.from_on and coalesce(q.day_on, date '9999-12-31') <= w.until_on
