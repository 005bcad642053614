-- one row per course without any dose
select
  'no_prescription' as cause,
  c.client_key,
  'prescriptions' as table_name,
  e.file,
  e.line,
  cast(1 as bigint) as n_rows,
  c.from_on as day_on,
  'No dose is recorded for this course. What was prescribed, and from when?' as question,
  case when s.usual_dose_assumed then 'The usual dose is assumed, because the settings say so.'
    else 'Adherence cannot be worked out; the client is in no figure of dose.' end as meanwhile
from settled.courses as c
cross join settings.current as s
inner join settled.episodes as e on e.client_key = c.client_key and e.episode_no = c.course_no
anti join settled.prescriptions as p on p.client_key = c.client_key and p.course_no = c.course_no
