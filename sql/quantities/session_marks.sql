-- one row per session: effort against the band in force, easing, steps of the resistance setting
-- A session with 0 breaths (or 0 sets) was logged and not done. Steps are told within one device class, against the
-- last setting that was noted; a session is a step up if either setting rose, and both if one rose and one fell.
with
placed as (
  select
    t.client_key, t.course_no, t.session_on, t.slot, t.sets_done, t.breaths_done, t.inhale_setting, t.exhale_setting,
    t.effort_rating, t.effort_scale, t.wellbeing_before, t.stopped_early, t.stop_reason, t.ease_reason, t.file, t.line,
    d.week_no, d.effort_low, d.effort_high, d.device_class, d.is_paused,
    d.inhale_setting as inhale_prescribed, d.exhale_setting as exhale_prescribed,
    last_value(t.inhale_setting ignore nulls) over before as inhale_before,
    last_value(t.exhale_setting ignore nulls) over before as exhale_before
  from settled.sessions as t
  inner join quantities.course_days as d
    on d.client_key = t.client_key and d.course_no = t.course_no and d.day_on = t.session_on
  window before as (
    partition by t.client_key, t.course_no, d.device_class order by t.session_on, t.slot, t.file, t.line
    rows between unbounded preceding and 1 preceding
  )
)
select
  p.client_key, p.course_no, p.week_no, p.session_on, p.slot, p.file, p.line,
  coalesce(p.breaths_done, p.sets_done, 1) > 0 as is_done,
  p.sets_done, p.breaths_done, p.inhale_setting, p.exhale_setting, p.device_class,
  p.effort_rating, p.wellbeing_before,
  case when p.effort_rating is not null then coalesce(p.effort_scale, 'not_recorded') end as effort_scale,
  case
    when coalesce(p.breaths_done, p.sets_done, 1) = 0 or p.effort_rating is null then null
    when p.effort_rating < p.effort_low then 'below'
    when p.effort_rating > p.effort_high then 'above'
    when p.effort_low is not null and p.effort_high is not null then 'in'
  end as effort_class,
  p.ease_reason is not null as is_eased,
  coalesce(p.inhale_setting > p.inhale_before, false) or coalesce(p.exhale_setting > p.exhale_before, false)
    as is_step_up,
  coalesce(p.inhale_setting < p.inhale_before, false) or coalesce(p.exhale_setting < p.exhale_before, false)
    as is_step_down,
  coalesce(p.stopped_early = 'yes', false) as is_stopped_early,
  p.stopped_early is not null and p.stopped_early <> 'unknown' as is_stop_told,
  p.stop_reason,
  p.is_paused,
  p.ease_reason is null and (
    coalesce(p.inhale_setting <> p.inhale_prescribed, false)
    or coalesce(p.exhale_setting <> p.exhale_prescribed, false)
  ) as differs_without_reason
from placed as p
