-- one row per course and day: what was prescribed, whether it is known what was done, and what
-- Days of a logged week are known; so is a day held by a documented pause. Session rows count on their day; the counts
-- and the one effort rating of a diary are spread evenly over its days. Effort is on the course's main scale only.
with
by_day as (
  select
    m.client_key, m.course_no, m.session_on,
    cast(count(*) filter (where m.is_done) as double) as sessions_done,
    cast(count(*) filter (where m.is_done and m.effort_class = 'in' and m.effort_scale = k.effort_scale) as double)
      as rated_in,
    cast(count(*) filter (where m.is_done and m.effort_class is not null and m.effort_scale = k.effort_scale) as double)
      as rated
  from quantities.session_marks as m
  left join quantities.course_scales as k on k.client_key = m.client_key and k.course_no = m.course_no
  group by m.client_key, m.course_no, m.session_on
)
select
  d.client_key,
  d.course_no,
  d.day_on,
  d.week_no,
  d.sessions_prescribed,
  d.is_ill,
  w.logged_by <> 'none' or d.is_paused as is_known,
  case
    when w.logged_by = 'sessions' then coalesce(t.sessions_done, 0)
    when w.logged_by = 'diary' then cast(w.sessions_done as double) / w.week_days
    when d.is_paused then 0
  end as sessions_done,
  case
    when w.logged_by = 'sessions' then coalesce(t.sessions_done, 0)
    when w.logged_by = 'diary' and w.sessions_done > 0 then 1 / cast(w.week_days as double)
    else 0
  end as effort_units,
  case
    when w.logged_by = 'sessions' then coalesce(t.rated, 0)
    when w.logged_by = 'diary' and w.sessions_done > 0 and w.effort_scale = k.effort_scale
      then (w.rated_below + w.rated_in + w.rated_above) / cast(w.week_days as double)
    else 0
  end as rated_units,
  case
    when w.logged_by = 'sessions' then coalesce(t.rated_in, 0)
    when w.logged_by = 'diary' and w.sessions_done > 0 and w.effort_scale = k.effort_scale
      then w.rated_in / cast(w.week_days as double)
    else 0
  end as in_band_units
from quantities.course_days as d
inner join quantities.client_weeks as w
  on w.client_key = d.client_key and w.course_no = d.course_no and w.week_no = d.week_no
left join by_day as t on t.client_key = d.client_key and t.course_no = d.course_no and t.session_on = d.day_on
left join quantities.course_scales as k on k.client_key = d.client_key and k.course_no = d.course_no
