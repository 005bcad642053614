-- one row per course, pressure and comparable test day, baseline included: the outcome and everything a model may read
-- Cumulated dose and effort are those before the test day, 0 at baseline, in 12-week units; null from the first
-- interval on whose dose cannot be told. between_dose is the client's mean share times time12, within_dose the rest.
with
joined as (
  select
    t.client_key, t.course_no, t.pressure, t.tested_on, t.test_no, t.value_cmh2o, t.is_baseline, t.week, t.place_back,
    t.week / 12 as time12, t.efforts_kept, t.instrument, t.same_tester, t.mouthpiece, t.posture, t.metric, t.first_ever,
    t.prior_test_days, i.interval_weeks, i.interval_adherence, i.interval_logged_share, i.interval_in_band_share,
    i.illness_days, i.dose_added, i.dose_added_low, i.dose_added_high, i.effort_added, i.effort_added_low,
    i.effort_added_high,
    case when t.is_baseline or i.dose_added is not null then 0 else 1 end as dose_gap,
    case when t.is_baseline or i.dose_added_low is not null then 0 else 1 end as bound_gap,
    case when t.is_baseline or i.effort_added is not null then 0 else 1 end as effort_gap,
    v.held_days, v.sessions_told, v.eased_sessions, v.wellbeing, v.last_done_on, v.last_unknown_on
  from quantities.comparable_tests as t
  left join quantities.interval_doses as i
    on i.client_key = t.client_key and i.course_no = t.course_no and i.pressure = t.pressure
    and i.tested_on = t.tested_on
  left join quantities.intervals as v
    on v.client_key = t.client_key and v.course_no = t.course_no and v.pressure = t.pressure
    and v.tested_on = t.tested_on
),
cumulated as (
  select
    j.client_key, j.course_no, j.pressure, j.tested_on, j.test_no, j.value_cmh2o, j.is_baseline, j.week, j.place_back,
    j.time12, j.efforts_kept, j.instrument, j.same_tester, j.mouthpiece, j.posture, j.metric, j.first_ever,
    j.prior_test_days, j.interval_weeks, j.interval_adherence, j.interval_logged_share, j.interval_in_band_share,
    j.illness_days, j.held_days, j.sessions_told, j.eased_sessions, j.wellbeing,
    max(j.last_done_on) over so_far as last_done_on, max(j.last_unknown_on) over so_far as last_unknown_on,
    case when sum(j.dose_gap) over so_far = 0 then coalesce(sum(j.dose_added) over so_far, 0) end as dose_d,
    case when sum(j.bound_gap) over so_far = 0 then coalesce(sum(j.dose_added_low) over so_far, 0) end as dose_d_low,
    case when sum(j.bound_gap) over so_far = 0 then coalesce(sum(j.dose_added_high) over so_far, 0) end as dose_d_high,
    case when sum(j.effort_gap) over so_far = 0 then coalesce(sum(j.effort_added) over so_far, 0) end as effort_e,
    coalesce(sum(j.effort_added_low) over so_far, 0) as effort_e_low,
    coalesce(sum(j.effort_added_high) over so_far, 0) as effort_e_high
  from joined as j
  window so_far as (
    partition by j.client_key, j.course_no, j.pressure order by j.tested_on
    rows between unbounded preceding and current row
  )
),
means as (
  select u.client_key, u.course_no, u.pressure, u.dose_d / nullif(u.time12, 0) as mean_share
  from cumulated as u
  where u.place_back = 1
)
select
  u.client_key, u.course_no, c.is_primary, c.site, c.protocol, u.pressure, u.tested_on,
  d.quarter,
  u.week, u.time12, u.value_cmh2o, u.test_no, u.is_baseline, u.first_ever, u.prior_test_days, u.efforts_kept,
  u.interval_weeks, u.interval_adherence, u.interval_logged_share, u.interval_in_band_share, u.dose_d, u.dose_d_low,
  u.dose_d_high, u.effort_e, u.effort_e_low, u.effort_e_high,
  case when u.is_baseline then 0e0 else m.mean_share * u.time12 end as between_dose,
  case when u.is_baseline then 0e0 else u.dose_d - m.mean_share * u.time12 end as within_dose,
  k.sex, k.age_years, k.condition_group, c.aim, c.assigned_by, k.caution, u.instrument, u.same_tester, u.mouthpiece,
  u.posture, u.metric, coalesce(u.illness_days, 0) as illness_days_interval,
  u.held_days as held_days_interval,
  cast(u.eased_sessions as double) / nullif(u.sessions_told, 0) as eased_share_interval,
  u.wellbeing as wellbeing_interval,
  case
    when u.last_unknown_on is null or u.last_unknown_on < u.last_done_on
      then cast(date_diff('day', u.last_done_on, u.tested_on) as double) / 7
  end as weeks_since_session
from cumulated as u
inner join settled.calendar as d on d.day_on = u.tested_on
inner join settled.courses as c on c.client_key = u.client_key and c.course_no = u.course_no
inner join settled.clients as k on k.client_key = u.client_key
left join means as m on m.client_key = u.client_key and m.course_no = u.course_no and m.pressure = u.pressure
