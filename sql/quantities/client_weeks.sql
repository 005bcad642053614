-- one row per client, course and week (0 is the first): dose prescribed and done, effort, settings, pauses
-- logged_by 'none' means unknown, never zero. A week held from its first to its last day by documented pauses and
-- without any log is known: nothing was done ('pause'). Session rows count before a diary. A diary is one rating.
with
weeks as (
  select
    w.client_key, w.course_no, w.week_no, w.week_days, w.sessions_sevenths, w.breaths_sevenths, w.paused_days,
    w.illness_days, w.sessions_sevenths_unpaused, w.breaths_sevenths_unpaused, w.effort_low, w.effort_high,
    w.device_class, w.is_assumed, c.site, c.protocol,
    cast(c.week0_on + interval (7 * w.week_no) day as date) as week_from_on,
    case
      when t.week_no is not null then 'sessions'
      when d.week_no is not null then 'diary'
      when w.paused_days = w.week_days then 'pause'
      else 'none'
    end as logged_by,
    t.sessions_done, t.breaths_done, t.sets_done, t.rated_below, t.rated_in, t.rated_above, t.not_rated,
    t.rated_other_scale, t.effort_scale, t.effort_median, t.inhale_setting_median, t.exhale_setting_median, t.steps_up,
    t.steps_down, t.eased_sessions, t.stopped_early, t.stop_told,
    d.sessions_done as diary_sessions, d.breaths_done as diary_breaths, d.usual_effort as diary_effort,
    d.effort_scale as diary_scale,
    case
      when d.usual_effort < w.effort_low then 'below'
      when d.usual_effort > w.effort_high then 'above'
      when d.usual_effort is not null and w.effort_low is not null and w.effort_high is not null then 'in'
      else 'not_rated'
    end as diary_class
  from quantities.week_doses as w
  inner join settled.courses as c on c.client_key = w.client_key and c.course_no = w.course_no
  left join quantities.week_sessions as t
    on t.client_key = w.client_key and t.course_no = w.course_no and t.week_no = w.week_no
  left join quantities.week_diaries as d
    on d.client_key = w.client_key and d.course_no = w.course_no and d.week_no = w.week_no
)
select
  w.client_key, w.course_no, w.site, w.protocol, w.week_no, w.week_from_on,
  k.quarter,
  w.week_days, w.logged_by, w.paused_days,
  w.sessions_sevenths, w.breaths_sevenths, w.sessions_sevenths_unpaused, w.breaths_sevenths_unpaused,
  cast(w.sessions_sevenths as double) / 7 as sessions_prescribed,
  cast(w.breaths_sevenths as double) / 7 as breaths_prescribed,
  cast(w.sessions_sevenths_unpaused as double) / 7 as sessions_prescribed_unpaused,
  cast(w.breaths_sevenths_unpaused as double) / 7 as breaths_prescribed_unpaused,
  case w.logged_by when 'sessions' then w.sessions_done when 'diary' then w.diary_sessions when 'pause' then 0 end
    as sessions_done,
  case w.logged_by when 'sessions' then w.breaths_done when 'diary' then w.diary_breaths when 'pause' then 0 end
    as breaths_done,
  case w.logged_by when 'sessions' then w.sets_done when 'pause' then 0 end as sets_done,
  case w.logged_by when 'sessions' then w.rated_below when 'diary' then cast(w.diary_class = 'below' as bigint)
    else 0 end as rated_below,
  case w.logged_by when 'sessions' then w.rated_in when 'diary' then cast(w.diary_class = 'in' as bigint)
    else 0 end as rated_in,
  case w.logged_by when 'sessions' then w.rated_above when 'diary' then cast(w.diary_class = 'above' as bigint)
    else 0 end as rated_above,
  case w.logged_by when 'sessions' then w.not_rated when 'diary' then cast(w.diary_class = 'not_rated' as bigint)
    else 0 end as not_rated,
  coalesce(w.rated_other_scale, 0) as rated_other_scale,
  case w.logged_by when 'sessions' then w.effort_scale when 'diary' then w.diary_scale end as effort_scale,
  w.effort_low, w.effort_high,
  case w.logged_by when 'sessions' then w.effort_median when 'diary' then w.diary_effort end as effort_median,
  w.inhale_setting_median, w.exhale_setting_median,
  coalesce(w.steps_up, 0) as steps_up, coalesce(w.steps_down, 0) as steps_down,
  coalesce(w.eased_sessions, 0) as eased_sessions, coalesce(w.stopped_early, 0) as stopped_early,
  coalesce(w.stop_told, 0) as stop_told, w.illness_days, w.device_class, w.is_assumed
from weeks as w
inner join settled.calendar as k on k.day_on = w.week_from_on
