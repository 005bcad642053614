-- one row per row of the input that belongs nowhere yet: no such client, no episode of it, or none on that day
-- Held keys are not told here: they have a question of their own. 'later': on a day after the end that the data show
-- themselves (see settled.span); where the settings give the end, later days are not looked at.
with
rows_told as (
  select 'episodes' as table_name, r.client_key, r.from_on as day_on, r.file, r.line, r.from_batch, r.to_batch
  from received.episodes as r
  union all
  select 'prescriptions' as table_name, r.client_key, r.from_on as day_on, r.file, r.line, r.from_batch, r.to_batch
  from received.prescriptions as r
  union all
  select 'sessions' as table_name, r.client_key, r.session_on as day_on, r.file, r.line, r.from_batch, r.to_batch
  from received.sessions as r
  union all
  select 'weekly_logs' as table_name, r.client_key, r.week_from_on as day_on, r.file, r.line, r.from_batch, r.to_batch
  from received.weekly_logs as r
  union all
  select 'pauses' as table_name, r.client_key, r.from_on as day_on, r.file, r.line, r.from_batch, r.to_batch
  from received.pauses as r
  union all
  select 'events' as table_name, r.client_key, r.event_on as day_on, r.file, r.line, r.from_batch, r.to_batch
  from received.events as r
  union all
  select 'tests' as table_name, r.client_key, r.tested_on as day_on, r.file, r.line, r.from_batch, r.to_batch
  from received.tests as r
  union all
  select 'other_outcomes' as table_name, r.client_key, r.measured_on as day_on, r.file, r.line, r.from_batch, r.to_batch
  from received.other_outcomes as r
  union all
  select 'reviews' as table_name, r.client_key, r.reviewed_on as day_on, r.file, r.line, r.from_batch, r.to_batch
  from received.reviews as r
),
current_rows as (
  select t.table_name, t.client_key, t.day_on, t.file, t.line, t.day_on > p.data_until_on as is_later
  from rows_told as t
  cross join settings.current as s
  cross join settled.span as p
  anti join settled.held_clients as h on h.client_key = t.client_key
  where t.from_batch <= s.as_of_batch and (t.to_batch is null or t.to_batch > s.as_of_batch)
    and (
      t.day_on <= p.data_until_on
      or s.data_until_on = '' and t.table_name in ('sessions', 'weekly_logs', 'events', 'tests', 'other_outcomes')
    )
),
stays as (
  select e.client_key, e.from_on, e.last_on from settled.episodes as e
),
in_course as (
  select distinct e.client_key from settled.episodes as e
),
last_days as (
  select e.client_key, max(e.last_on) as last_on from settled.episodes as e group by e.client_key
),
judged as (
  select
    t.table_name, t.client_key, t.day_on, t.file, t.line,
    case
      when t.is_later then 'later'
      when c.client_key is null then 'client'
      when k.client_key is null then 'episode'
      when t.table_name = 'prescriptions' and t.day_on > l.last_on then 'day'
      when t.table_name in ('sessions', 'weekly_logs') and e.client_key is null then 'day'
    end as missing
  from current_rows as t
  left join settled.clients as c on c.client_key = t.client_key
  left join in_course as k on k.client_key = t.client_key
  left join last_days as l on l.client_key = t.client_key
  left join stays as e
    on e.client_key = t.client_key and t.day_on <= e.last_on
    and t.day_on >= cast(
      e.from_on - interval (case when t.table_name = 'weekly_logs' then 6 else 0 end) day as date
    )
)
select distinct j.table_name, j.client_key, j.day_on, j.file, j.line, j.missing
from judged as j
where j.missing is not null
