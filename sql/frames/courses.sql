-- one row per course: who, where, which protocol, baselines and what tests there are
with
records as (
  select t.client_key, t.course_no, t.session_on as day_on from settled.sessions as t
  union all
  select t.client_key, t.course_no, t.tested_on as day_on from settled.tests as t
  union all
  select w.client_key, w.course_no, w.week_from_on as day_on from settled.weekly_logs as w where w.returned = 'yes'
  union all
  select e.client_key, e.course_no, e.event_on as day_on from settled.events as e
  union all
  select p.client_key, p.course_no, p.from_on as day_on from settled.prescriptions as p
),
last_records as (
  select r.client_key, r.course_no, max(r.day_on) as last_record_on
  from records as r
  group by r.client_key, r.course_no
),
first_doses as (
  select d.client_key, d.course_no, d.device_class,
    row_number() over (partition by d.client_key, d.course_no order by d.holds_from_on) as place
  from quantities.doses as d
  where d.device_class is not null
),
tested as (
  select
    g.client_key, g.course_no,
    max(case when g.pressure = 'mip' then g.baseline_cmh2o end) as baseline_mip_cmh2o,
    max(case when g.pressure = 'mep' then g.baseline_cmh2o end) as baseline_mep_cmh2o,
    max(case when g.pressure = 'mip' then g.baseline_pct_predicted end) as mip_pct_predicted,
    count(*) filter (where g.last_on is not null) > 0 as retested,
    count(*) filter (where g.pressure = 'mip' and g.at12_on is not null) > 0 as has_12_week_mip,
    count(*) filter (where g.pressure = 'mep' and g.at12_on is not null) > 0 as has_12_week_mep
  from quantities.gains as g
  group by g.client_key, g.course_no
),
test_counts as (
  select t.client_key, t.course_no,
    count(*) filter (where t.pressure = 'mip') as n_mip_tests,
    count(*) filter (where t.pressure = 'mep') as n_mep_tests
  from quantities.test_days as t
  group by t.client_key, t.course_no
)
select
  c.client_key, c.course_no, c.site, c.protocol, c.from_on, c.week0_on, c.last_on, c.is_open, c.end_reason,
  c.assigned_by, c.aim, c.planned_weeks, c.goal_mip_cmh2o, c.goal_mep_cmh2o, c.referral_reason,
  c.other_rehabilitation, c.n_episodes, c.is_mover, c.is_primary, k.sex, k.age_years,
  case
    when k.age_years < 18 then 'under 18'
    when k.age_years < 40 then '18 to 39'
    when k.age_years < 60 then '40 to 59'
    when k.age_years < 80 then '60 to 79'
    when k.age_years is not null then '80 or over'
  end as age_band,
  k.condition_group, k.respiratory_support, k.caution, k.research_consent, d.device_class,
  g.baseline_mip_cmh2o, g.baseline_mep_cmh2o, g.mip_pct_predicted,
  coalesce(n.n_mip_tests, 0) as n_mip_tests, coalesce(n.n_mep_tests, 0) as n_mep_tests,
  q.quarter as first_quarter,
  g.retested, g.has_12_week_mip, g.has_12_week_mep, r.last_record_on
from settled.courses as c
inner join settled.calendar as q on q.day_on = c.week0_on
inner join settled.clients as k on k.client_key = c.client_key
inner join tested as g on g.client_key = c.client_key and g.course_no = c.course_no
left join first_doses as d on d.client_key = c.client_key and d.course_no = c.course_no and d.place = 1
left join test_counts as n on n.client_key = c.client_key and n.course_no = c.course_no
left join last_records as r on r.client_key = c.client_key and r.course_no = c.course_no
