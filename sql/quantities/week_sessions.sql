-- one row per course and week with session rows: what was done, effort by class on one scale, settings
-- breaths_done and sets_done are null where any session that was done lacks them: a part would look like the whole.
with
marked as (
  select
    m.*,
    w.effort_scale as week_scale,
    coalesce(w.rated_other_scale, 0) as rated_other_scale,
    case when m.effort_scale = w.effort_scale then m.effort_class end as week_class
  from quantities.session_marks as m
  left join quantities.week_scales as w
    on w.client_key = m.client_key and w.course_no = m.course_no and w.week_no = m.week_no
)
select
  m.client_key,
  m.course_no,
  m.week_no,
  count(*) filter (where m.is_done) as sessions_done,
  case when count(*) filter (where m.is_done and m.breaths_done is null) = 0
    then coalesce(cast(sum(m.breaths_done) as bigint), 0) end as breaths_done,
  case when count(*) filter (where m.is_done and m.sets_done is null) = 0
    then coalesce(cast(sum(m.sets_done) as bigint), 0) end as sets_done,
  count(*) filter (where m.week_class = 'below') as rated_below,
  count(*) filter (where m.week_class = 'in') as rated_in,
  count(*) filter (where m.week_class = 'above') as rated_above,
  count(*) filter (where m.is_done and m.week_class is null) as not_rated,
  max(m.rated_other_scale) as rated_other_scale,
  max(m.week_scale) as effort_scale,
  median(case when m.week_class is not null then m.effort_rating end) as effort_median,
  median(m.inhale_setting) as inhale_setting_median,
  median(m.exhale_setting) as exhale_setting_median,
  count(*) filter (where m.is_step_up) as steps_up,
  count(*) filter (where m.is_step_down) as steps_down,
  count(*) filter (where m.is_eased) as eased_sessions,
  count(*) filter (where m.is_stopped_early) as stopped_early,
  count(*) filter (where m.is_stop_told) as stop_told
from marked as m
group by m.client_key, m.course_no, m.week_no
