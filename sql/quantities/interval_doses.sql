-- one row per comparable test day after the baseline: shares of its interval, and what it adds to dose and effort
-- Days not logged take the share of their own interval, else that of the earlier intervals; with neither the addition
-- is null. low and high: days not logged as none and as fully done (or at the logged share where that is more); effort
-- not rated as out of and in the band. An interval without a session adds no effort. Additions are in 12-week units.
with
before as (
  select
    i.*,
    sum(i.done) over earlier as done_before,
    sum(i.prescribed_known) over earlier as prescribed_before,
    sum(i.in_band_units) over earlier as in_band_before,
    sum(i.rated_units) over earlier as rated_before
  from quantities.intervals as i
  window earlier as (
    partition by i.client_key, i.course_no, i.pressure order by i.tested_on
    rows between unbounded preceding and 1 preceding
  )
),
shares as (
  select
    b.client_key, b.course_no, b.pressure, b.tested_on, b.interval_weeks, b.course_days, b.known_days, b.illness_days,
    b.prescribed, b.effort_units, b.rated_units, b.in_band_units,
    cast(b.course_days as double) / 84 as span12,
    b.done / nullif(b.prescribed_known, 0) as own_share,
    coalesce(b.done / nullif(b.prescribed_known, 0), b.done_before / nullif(b.prescribed_before, 0)) as share,
    coalesce(b.done, 0) as done_known,
    b.prescribed - coalesce(b.prescribed_known, 0) as prescribed_unknown,
    b.in_band_units / nullif(b.rated_units, 0) as own_in_band,
    coalesce(b.in_band_units / nullif(b.rated_units, 0), b.in_band_before / nullif(b.rated_before, 0)) as in_band,
    b.known_days = b.course_days and b.effort_units = 0 as is_without_session,
    b.effort_units * b.course_days / nullif(b.known_days, 0) as all_units
  from before as b
)
select
  h.client_key, h.course_no, h.pressure, h.tested_on, h.interval_weeks, h.illness_days,
  h.own_share as interval_adherence,
  cast(h.known_days as double) / nullif(h.course_days, 0) as interval_logged_share,
  h.own_in_band as interval_in_band_share,
  case when h.course_days = 0 then 0e0 when h.prescribed is not null then h.share * h.span12 end as dose_added,
  case when h.course_days = 0 then 0e0 else h.done_known / nullif(h.prescribed, 0) * h.span12 end as dose_added_low,
  case when h.course_days = 0 then 0e0
    else (h.done_known + h.prescribed_unknown * greatest(1, coalesce(h.share, 1))) / nullif(h.prescribed, 0) * h.span12
  end as dose_added_high,
  case when h.is_without_session then 0e0 else (h.in_band - s.effort_reference_share) * h.span12 end as effort_added,
  case when h.is_without_session then 0e0
    else (coalesce(h.in_band_units / nullif(h.all_units, 0), 0) - s.effort_reference_share) * h.span12
  end as effort_added_low,
  case when h.is_without_session then 0e0
    else (
      coalesce((h.in_band_units + h.all_units - h.rated_units) / nullif(h.all_units, 0), 1) - s.effort_reference_share
    ) * h.span12
  end as effort_added_high
from shares as h
cross join settings.current as s
