-- one row per client, day and pressure: which comparable series it belongs to, and what broke the one before
-- A change of metric, lung volume, mouthpiece or posture against the last known one breaks the series; not recorded
-- differs from nothing. The instrument's label is no break: it is listed in frames.instruments.
with
looked_back as (
  select
    t.client_key, t.pressure, t.tested_on, t.metric, t.lung_volume, t.mouthpiece, t.posture,
    last_value(t.metric ignore nulls) over before as metric_before,
    last_value(t.lung_volume ignore nulls) over before as lung_volume_before,
    last_value(t.mouthpiece ignore nulls) over before as mouthpiece_before,
    last_value(t.posture ignore nulls) over before as posture_before
  from quantities.test_days as t
  window before as (
    partition by t.client_key, t.pressure order by t.tested_on rows between unbounded preceding and 1 preceding
  )
),
broken as (
  select
    b.client_key, b.pressure, b.tested_on,
    concat_ws(
      ' and ',
      case when b.metric <> b.metric_before then 'metric' end,
      case when b.lung_volume <> b.lung_volume_before then 'lung volume' end,
      case when b.mouthpiece <> b.mouthpiece_before then 'mouthpiece' end,
      case when b.posture <> b.posture_before then 'posture' end
    ) as break_reason
  from looked_back as b
)
select
  k.client_key,
  k.pressure,
  k.tested_on,
  1 + cast(
    sum(case when k.break_reason <> '' then 1 else 0 end) over (
      partition by k.client_key, k.pressure order by k.tested_on rows between unbounded preceding and current row
    ) as bigint
  ) as series_no,
  k.break_reason
from broken as k
