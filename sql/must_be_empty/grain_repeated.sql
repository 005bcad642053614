-- one row per table and key that stands in more than one of its rows, of the tables that go by client
with
rows_named as (
  select 'courses' as frame, f.client_key, concat_ws('|', f.course_no) as row_name from frames.courses as f
  union all
  select 'model' as frame, f.client_key, concat_ws('|', f.course_no, f.pressure, f.tested_on) as row_name
  from frames.model as f
  union all
  select 'client_weeks' as frame, f.client_key, concat_ws('|', f.course_no, f.week_no) as row_name
  from frames.client_weeks as f
  union all
  select 'gains' as frame, f.client_key, concat_ws('|', f.course_no, f.pressure) as row_name from frames.gains as f
  union all
  select 'adherence' as frame, f.client_key, concat_ws('|', f.course_no) as row_name from frames.adherence as f
  union all
  select 'client_quarters' as frame, f.client_key, concat_ws('|', f.course_no, f.quarter) as row_name
  from frames.client_quarters as f
  union all
  select 'test_days' as frame, f.client_key, concat_ws('|', f.pressure, f.tested_on) as row_name
  from frames.test_days as f
  union all
  select 'settled.sessions' as frame, t.client_key, concat_ws('|', t.session_on, t.slot) as row_name
  from settled.sessions as t
  where t.slot is not null
  union all
  select 'settled.tests' as frame, t.client_key, concat_ws('|', t.tested_on, t.pressure, t.effort_no) as row_name
  from settled.tests as t
  union all
  select 'settled.prescriptions' as frame, t.client_key, concat_ws('|', t.from_on) as row_name
  from settled.prescriptions as t
  union all
  select 'settled.episodes' as frame, t.client_key, concat_ws('|', t.episode_no) as row_name
  from settled.episodes as t
  union all
  select 'other_outcomes' as frame, f.client_key, concat_ws('|', f.measure, f.measured_on) as row_name
  from frames.other_outcomes as f
  union all
  select 'reviews' as frame, f.client_key, concat_ws('|', f.reviewed_on) as row_name from frames.reviews as f
)
select r.frame, r.client_key, r.row_name, count(*) as n_rows
from rows_named as r
group by r.frame, r.client_key, r.row_name
having count(*) > 1
