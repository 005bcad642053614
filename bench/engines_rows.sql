-- Generated rows of any number: DuckDB's own dialect, run by bench/engines_rows.py; `clients` is a variable.
-- What looks drawn is a hash of the key, the day and a word: the same number of clients gives the same rows.
create or replace temp macro h(a, salt, below) as cast(hash(a, salt) % below as integer),
  (a, b, salt, below) as cast(hash(a, b, salt) % below as integer),
  (a, b, c, salt, below) as cast(hash(a, b, c, salt) % below as integer);
create or replace temp macro upto(n) as table select cast(range as integer) as n from range(n);
create or replace temp macro spans() as table
  select *, least(coalesce(to_on, from_on + 200), from_on + 220, date '2025-09-30') as until_on
  from received.episodes where file = 'g_episodes.csv';

insert into received.clients by name
select
  'G' || lpad(cast(c.range as varchar), 9, '0') as client_key,
  ['female', 'male', 'other', 'unknown'][1 + h(c.range, 'sex', 4)] as sex,
  18 + h(c.range, 'age', 72) as age_years,
  case when h(c.range, 'has height', 20) > 0 then 150e0 + h(c.range, 'height', 400) / 10 end as height_cm,
  50e0 + h(c.range, 'weight', 500) / 10 as weight_kg,
  ['copd', 'stroke', 'neuromuscular', 'parkinson', null][1 + h(c.range, 'group', 5)] as condition_group,
  'unknown' as respiratory_support, 'none_known' as caution, 'yes' as research_consent,
  0 as ordinal, 1 as from_batch, 'g_clients.csv' as file, c.range as line
from range(cast(getvariable('clients') as bigint)) as c;

-- a quarter comes back for a second course, and half of those go on with the first one at another site
insert into received.episodes by name
with starts as (
  select client_key, line, date '2023-01-01' + h(client_key, 'from', 900) as from_on, 70 + h(client_key, 'days', 130) as days
  from received.clients where file = 'g_clients.csv'
)
select
  client_key, k.n + 1 as episode_no, 's' || (1 + h(client_key, k.n, 'site', 12)) as site,
  ['steady', 'stepped', 'interval'][1 + h(client_key, k.n, 'protocol', 3)] as protocol,
  from_on + k.n * (days + 1 + h(client_key, 'gap', 50)) as from_on,
  ['clinician', 'written_rule', null][1 + h(client_key, 'by', 3)] as assigned_by, 'raise' as aim, 12 as planned_weeks,
  case when k.n = 0 and (h(client_key, 'closed', 10) < 6 or h(client_key, 'second', 4) = 0) then from_on + days end as to_on,
  case when k.n = 0 and (h(client_key, 'closed', 10) < 6 or h(client_key, 'second', 4) = 0) then 'completed' end as end_reason,
  case when k.n = 1 and h(client_key, 'goes on', 2) = 0 then 1
    when k.n = 1 and h(client_key, 'missing', 50) = 0 then 7 end as continues_episode_no,
  0 as ordinal, 1 as from_batch, 'g_episodes.csv' as file, line * 2 + k.n as line
from starts cross join upto(2) as k
where k.n = 0 or h(client_key, 'second', 4) = 0;

insert into received.prescriptions by name
select
  e.client_key, e.from_on + k.n * 28 - h(e.client_key, 'early', 3) as from_on, 2 as sets_per_session,
  8 + 2 * k.n as breaths_per_set, 2 as sessions_per_day, 5 + h(e.client_key, 'days', 3) as days_per_week,
  10e0 + 2 * k.n as inhale_setting, 5e0 + k.n as exhale_setting,
  ['threshold', 'flow_resistive', null][1 + h(e.client_key, 'device', 3)] as device_class,
  case when h(e.client_key, 'band', 10) > 0 then 4e0 end as effort_low,
  case when h(e.client_key, 'band', 10) > 0 then 7e0 end as effort_high,
  0 as ordinal, 1 as from_batch, 'g_prescriptions.csv' as file, e.line * 4 + k.n as line
from spans() as e cross join upto(3) as k
where e.from_on + k.n * 28 <= e.until_on and h(e.client_key, k.n, 'dose', 10) < 7 and h(e.client_key, 'has dose', 25) > 0;

-- an eighth of the clients keeps diaries instead; a session in 2,000 lies outside every episode
insert into received.sessions by name
select
  e.client_key, e.from_on + d.n - case when h(e.client_key, d.n, s.n, 'astray', 2000) = 0 then 400 else 0 end as session_on,
  case s.n when 0 then 'am' else 'pm' end as slot,
  case when h(e.client_key, d.n, s.n, 'has sets', 20) > 0 then 2 end as sets_done,
  case when h(e.client_key, d.n, s.n, 'has breaths', 20) > 0 then h(e.client_key, d.n, s.n, 'breaths', 25) end as breaths_done,
  case when h(e.client_key, d.n, s.n, 'has in', 12) > 0
    then 10e0 + d.n // 20 - case when h(e.client_key, d.n, s.n, 'ease', 9) = 0 then 1 else 0 end end as inhale_setting,
  case when h(e.client_key, d.n, s.n, 'has out', 3) > 0 then 5e0 + d.n // 30 end as exhale_setting,
  case when h(e.client_key, d.n, s.n, 'rated', 5) > 0 then cast(h(e.client_key, d.n, s.n, 'effort', 11) as double) end
    as effort_rating,
  case when h(e.client_key, d.n, s.n, 'scale', 60) = 0 then 'cr10' else 'nrs_0_10' end as effort_scale,
  ['no', 'no', 'yes', 'unknown', null][1 + h(e.client_key, d.n, s.n, 'stopped', 5)] as stopped_early,
  ['dizzy', 'fatigue', null][1 + h(e.client_key, d.n, s.n, 'why', 3)] as stop_reason,
  case when h(e.client_key, d.n, s.n, 'eased', 30) = 0 then 'symptom_day' end as ease_reason,
  0 as ordinal, 1 as from_batch, 'g_sessions.csv' as file, e.line * 1000 + d.n * 2 + s.n as line
from spans() as e cross join upto(221) as d cross join upto(2) as s
where e.from_on + d.n <= e.until_on and h(e.client_key, 'diary', 8) > 0
  and h(e.client_key, d.n, s.n, 'done', 100) < 40 + h(e.client_key, 'keen', 50);

insert into received.weekly_logs by name
select
  e.client_key, e.from_on + k.n * 7 - h(e.client_key, 'weekday', 5) as week_from_on,
  case when h(e.client_key, k.n, 'back', 6) < 4 then 'yes' else 'lost' end as returned,
  case when h(e.client_key, k.n, 'back', 6) < 4 then h(e.client_key, k.n, 'did', 15) end as sessions_done,
  case when h(e.client_key, k.n, 'back', 6) < 3 then h(e.client_key, k.n, 'breaths', 300) end as breaths_done,
  case when h(e.client_key, k.n, 'back', 6) < 3 then cast(h(e.client_key, k.n, 'effort', 10) as double) end as usual_effort,
  'nrs_0_10' as effort_scale,
  0 as ordinal, 1 as from_batch, 'g_weekly_logs.csv' as file, e.line * 100 + k.n as line
from spans() as e cross join upto(32) as k
where e.from_on + k.n * 7 <= e.until_on and h(e.client_key, 'diary', 8) = 0;

insert into received.pauses by name
select
  e.client_key, e.from_on + 20 + h(e.client_key, 'pause', 40) as from_on,
  case when h(e.client_key, 'pause ends', 8) > 0 then e.from_on + 60 + h(e.client_key, 'pause end', 20) end as to_on,
  ['acute_illness', 'travel', 'hospital', 'personal'][1 + h(e.client_key, 'reason', 4)] as reason,
  0 as ordinal, 1 as from_batch, 'g_pauses.csv' as file, e.line as line
from spans() as e
where h(e.client_key, 'pauses', 5) = 0 and e.episode_no = 1;

insert into received.events by name
select
  e.client_key, e.from_on + h(e.client_key, 'event', 120) as event_on,
  ['headache', 'syncope_or_dizziness', 'respiratory_infection'][1 + h(e.client_key, 'kind', 3)] as kind,
  ['yes', 'no', 'unknown', null][1 + h(e.client_key, 'serious', 4)] as serious,
  ['yes', 'no', null][1 + h(e.client_key, 'related', 3)] as judged_related,
  0 as ordinal, 1 as from_batch, 'g_events.csv' as file, e.line as line
from spans() as e
where h(e.client_key, 'events', 7) = 0
union all
select 'NOBODY' || lpad(cast(k.n as varchar), 4, '0'), date '2025-09-30' - k.n, 'headache', 'no', 'no', 0, 1,
  'g_events.csv', 1000000000 + k.n
from upto(9) as k;

-- site s3 writes MIP with a sign, in a file of its own; site s4 writes kPa
insert into received.tests by name
with visits as (
  select e.client_key, e.site, e.line, w.day, p.pressure, k.n + 1 as effort_no,
    e.from_on + w.day + h(e.client_key, w.day, 'visit', 9) - 4 as tested_on
  from spans() as e cross join (values (0), (28), (56), (84), (120), (170)) as w (day)
  cross join (values ('mip', 2), ('mep', 1)) as p (pressure, efforts) cross join upto(2) as k
  where k.n < p.efforts and h(e.client_key, w.day, 'came', 10) < 8
)
select
  v.client_key, v.tested_on, v.pressure, v.effort_no,
  case when h(v.client_key, v.day, 'done', 40) > 0 then
    (40e0 + h(v.client_key, 'strength', 600) / 10 + v.day / 10 + h(v.client_key, v.day, v.effort_no, 'noise', 90) / 10)
    * case when v.site = 's3' and v.pressure = 'mip' then -1 when v.site = 's4' then 98.0665e-3 else 1 end end as value,
  case when v.site = 's4' then 'kpa' else 'cmh2o' end as unit,
  ['plateau_1s', 'plateau_1s', null][1 + h(v.client_key, 'metric', 3)] as metric,
  ['rv', 'frc', null][1 + h(v.client_key, 'volume', 3)] as lung_volume,
  ['seated', 'seated', 'seated', 'seated', 'supine', null][1 + h(v.client_key, v.day, 'posture', 6)] as posture,
  ['flanged', 'flanged', 'tube', null][1 + h(v.client_key, v.day // 80, 'mouthpiece', 4)] as mouthpiece,
  'm' || h(v.site, v.day // 100, 'gauge', 5) as instrument,
  ['yes', 'yes', 'yes', 'no', null][1 + h(v.client_key, v.day, v.effort_no, 'good', 5)] as acceptable,
  ['all', 'all', 'best_only', null][1 + h(v.client_key, 'all', 4)] as efforts_recorded,
  0 as ordinal, 1 as from_batch,
  case when v.site = 's3' then 'g_signed.csv' else 'g_tests.csv' end as file,
  v.line * 1000 + v.day * 4 + v.effort_no * 2 + cast(v.pressure = 'mip' as integer) as line
from visits as v
where v.tested_on <= date '2025-09-30';

insert into received.other_outcomes by name
select
  e.client_key, e.from_on + k.day as measured_on, 'six_minute_walk_m' as measure,
  300e0 + h(e.client_key, k.day, 'walk', 200) as value,
  0 as ordinal, 1 as from_batch, 'g_other_outcomes.csv' as file, e.line * 4 + k.n as line
from spans() as e cross join (values (0, -3), (1, 80), (2, 95)) as k (n, day)
where h(e.client_key, 'walks', 4) = 0;

insert into received.reviews by name
select e.client_key, e.from_on + 100 as reviewed_on, 'plan_kept' as outcome,
  0 as ordinal, 1 as from_batch, 'g_reviews.csv' as file, e.line as line
from spans() as e
where h(e.client_key, 'looked at', 20) = 0;

insert into received.instruments by name
select 'm' || (k.n % 5) as instrument, 's' || (1 + k.n % 12) as site, date '2025-09-30' - k.n as event_on,
  'calibrated' as what, 0 as ordinal, 1 as from_batch, 'g_instruments.csv' as file, k.n as line
from upto(40) as k;

insert into received.set_aside by name
select
  1 as batch_id, 'g_sessions.csv' as file, 2000000000 + k.n as line, 3 as column_no, 'sessions' as table_name,
  'breaths_done' as column_name,
  ['sessions.breaths_done.whole', 'sessions.row.conflict'][1 + h(k.n, 'rule', 2)] as rule,
  'a whole number' as expected, 'aaa (3 characters)' as masked_value, ['s1', 's2', null][1 + h(k.n, 'site', 3)] as site,
  case when k.n % 3 > 0 then 'G' || lpad(cast(k.n * 7 as varchar), 9, '0') end as client_key_ok,
  case when k.n % 5 > 0 then date '2025-09-30' - k.n end as occurred_on
from upto(300) as k;

insert into received.files by name
select 1 as batch_id, 'g_sessions.csv' as file, 'sessions' as table_name, count(*) as rows_read, count(*) as rows_kept,
  0 as rows_set_aside, 0 as rows_unchanged
from received.sessions where file = 'g_sessions.csv';
