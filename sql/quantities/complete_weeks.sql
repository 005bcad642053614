-- one row per course, week and item of the weekly record: 1 where it was expected, 1 where it is filled
-- A week held throughout is expected to have no log. Effort is expected of each session done, and once of a diary.
with
weeks as (
  select
    w.site, w.quarter, w.logged_by, w.sessions_prescribed, w.is_assumed, w.rated_other_scale, w.not_rated, w.stop_told,
    w.rated_below + w.rated_in + w.rated_above as rated, w.sessions_done, w.week_days, w.paused_days
  from quantities.client_weeks as w
)
select
  w.site, w.quarter, 'weekly_log' as item,
  case when w.paused_days < w.week_days then 1 else 0 end as expected,
  case when w.paused_days < w.week_days and w.logged_by in ('sessions', 'diary') then 1 else 0 end as filled
from weeks as w
union all
select
  w.site, w.quarter, 'prescription' as item,
  1 as expected,
  case when w.sessions_prescribed is not null and not w.is_assumed then 1 else 0 end as filled
from weeks as w
union all
select
  w.site, w.quarter, 'effort_rating' as item,
  w.rated + w.not_rated as expected,
  w.rated + w.rated_other_scale as filled
from weeks as w
union all
select
  w.site, w.quarter, 'stopped_early' as item,
  case when w.logged_by = 'sessions' then w.sessions_done else 0 end as expected,
  case when w.logged_by = 'sessions' then least(w.stop_told, w.sessions_done) else 0 end as filled
from weeks as w
