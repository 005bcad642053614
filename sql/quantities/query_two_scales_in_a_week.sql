-- one row per course with weeks in which two effort scales were used
select
  'two_scales_in_a_week' as cause,
  w.client_key,
  'sessions' as table_name,
  cast(null as varchar) as file,
  cast(null as bigint) as line,
  cast(sum(w.rated_other_scale) as bigint) as n_rows,
  min(w.week_from_on) as day_on,
  'Two effort scales were used in one week. Which one is meant?' as question,
  'The scale with more ratings counts; ratings on the other one count as not recorded.' as meanwhile
from quantities.client_weeks as w
where w.rated_other_scale > 0
group by w.client_key, w.course_no
