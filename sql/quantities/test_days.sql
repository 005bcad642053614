-- one row per client, day and pressure with an acceptable effort: the best one, its repeatability and how it was taken
-- An effort counts unless it was marked as not acceptable. efforts_kept and repeatability are null where only the best
-- effort was kept, or where a lone row does not say whether it is one of many. Nothing is left out for being low.
with
efforts as (
  select
    t.client_key, t.course_no, t.tested_on, t.pressure, t.value_cmh2o, t.metric, t.lung_volume, t.posture,
    t.mouthpiece, t.instrument, t.efforts_recorded, t.same_tester, t.test_reason,
    row_number() over (
      partition by t.client_key, t.tested_on, t.pressure order by t.value_cmh2o desc, t.effort_no
    ) as place
  from settled.tests as t
  where t.value_cmh2o is not null and (t.acceptable is null or t.acceptable <> 'no')
),
days as (
  select
    e.client_key, e.course_no, e.pressure, e.tested_on,
    max(e.value_cmh2o) as best_cmh2o,
    max(case when e.place = 2 then e.value_cmh2o end) as second_cmh2o,
    count(*) as n_efforts,
    count(*) filter (where e.efforts_recorded = 'all') > 0 as is_all,
    count(*) filter (where e.efforts_recorded = 'best_only') > 0 as is_best_only,
    max(case when e.place = 1 then e.metric end) as metric,
    max(case when e.place = 1 then e.lung_volume end) as lung_volume,
    max(case when e.place = 1 then e.posture end) as posture,
    max(case when e.place = 1 then e.mouthpiece end) as mouthpiece,
    max(case when e.place = 1 then e.instrument end) as instrument,
    max(case when e.place = 1 then e.same_tester end) as same_tester,
    max(case when e.place = 1 then e.test_reason end) as test_reason
  from efforts as e
  group by e.client_key, e.course_no, e.pressure, e.tested_on
),
judged as (
  select
    d.client_key, d.course_no, d.pressure, d.tested_on, d.best_cmh2o, d.second_cmh2o, d.n_efforts, d.metric,
    d.lung_volume, d.posture, d.mouthpiece, d.instrument, d.same_tester, d.test_reason,
    not d.is_best_only and (d.is_all or d.n_efforts > 1) as is_known
  from days as d
)
select
  j.client_key,
  j.course_no,
  j.pressure,
  j.tested_on,
  cast(date_diff('day', c.week0_on, j.tested_on) as double) / 7 as week,
  row_number() over (partition by j.client_key, j.pressure order by j.tested_on) as test_no,
  j.best_cmh2o,
  case when j.is_known then j.second_cmh2o end as second_cmh2o,
  case when j.is_known then j.n_efforts end as efforts_kept,
  case when j.is_known then (j.best_cmh2o - j.second_cmh2o) / nullif(j.best_cmh2o, 0) end as repeatability,
  case when j.is_known then 10 * (j.best_cmh2o - j.second_cmh2o) <= j.best_cmh2o end as is_rep10,
  case when j.is_known then 5 * (j.best_cmh2o - j.second_cmh2o) <= j.best_cmh2o end as is_rep20,
  j.metric,
  j.lung_volume,
  j.posture,
  j.mouthpiece,
  j.instrument,
  j.same_tester,
  j.test_reason,
  j.best_cmh2o < 10 as under_10_cmh2o
from judged as j
inner join settled.courses as c on c.client_key = j.client_key and c.course_no = j.course_no
