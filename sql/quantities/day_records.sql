-- one row per course and day: what was prescribed, whether it is known what was done, and what
-- Days of a logged week are known; so is a day held by a documented pause. Session rows count on their day; the counts
-- and the one effort rating of a diary are spread evenly over its days. Effort is on the course's main scale only.
-- Everything done is told in 420ths: a week of 1 to 7 days then splits into whole numbers, and sums stay exact.
with
by_day as (
  select
    m.client_key, m.course_no, m.session_on,
    count(*) filter (where m.is_done) as sessions_done,
    count(*) filter (where m.is_done and m.is_eased) as eased,
    sum(case when m.is_done then m.wellbeing_before end) as wellbeing_sum,
    count(m.wellbeing_before) filter (where m.is_done) as wellbeing_told,
    count(*) filter (where m.is_done and m.effort_class = 'in' and m.effort_scale = k.effort_scale) as rated_in,
    count(*) filter (where m.is_done and m.effort_class is not null and m.effort_scale = k.effort_scale) as rated
  from quantities.session_marks as m
  left join quantities.course_scales as k on k.client_key = m.client_key and k.course_no = m.course_no
  group by m.client_key, m.course_no, m.session_on
),
weeks as (
  select
    w.client_key, w.course_no, w.week_no, w.logged_by, w.sessions_done, w.rated_in,
    w.rated_below + w.rated_in + w.rated_above as rated,
    cast(floor(cast(420 as double) / nullif(w.week_days, 0)) as bigint) as day_part,
    w.logged_by = 'diary' and w.sessions_done > 0 as is_trained_diary,
    coalesce(w.effort_scale = k.effort_scale, false) as is_main_scale
  from quantities.client_weeks as w
  left join quantities.course_scales as k on k.client_key = w.client_key and k.course_no = w.course_no
)
select
  d.client_key,
  d.course_no,
  d.day_on,
  d.week_no,
  d.sessions_a_week,
  d.is_ill,
  d.is_paused,
  case when w.logged_by = 'sessions' then coalesce(t.sessions_done, 0) end as sessions_told,
  case when w.logged_by = 'sessions' then coalesce(t.eased, 0) end as eased,
  cast(t.wellbeing_sum as double) as wellbeing_sum,
  t.wellbeing_told,
  w.logged_by <> 'none' or d.is_paused as is_known,
  case
    when w.logged_by = 'sessions' then 420 * coalesce(t.sessions_done, 0)
    when w.logged_by = 'diary' then w.sessions_done * w.day_part
    when d.is_paused then 0
  end as done_420,
  case
    when w.logged_by = 'sessions' then 420 * coalesce(t.sessions_done, 0)
    when w.is_trained_diary then w.day_part
    else 0
  end as effort_420,
  case
    when w.logged_by = 'sessions' then 420 * coalesce(t.rated, 0)
    when w.is_trained_diary and w.is_main_scale then w.rated * w.day_part
    else 0
  end as rated_420,
  case
    when w.logged_by = 'sessions' then 420 * coalesce(t.rated_in, 0)
    when w.is_trained_diary and w.is_main_scale then w.rated_in * w.day_part
    else 0
  end as in_band_420
from quantities.course_days as d
inner join weeks as w on w.client_key = d.client_key and w.course_no = d.course_no and w.week_no = d.week_no
left join by_day as t on t.client_key = d.client_key and t.course_no = d.course_no and t.session_on = d.day_on
