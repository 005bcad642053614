-- one row per dose, with its course and the days on which it holds: until the client's next row or the course's end
-- A dose written down before a course starts holds from its start.
with
belonging as (
  select
    r.client_key, c.course_no, r.from_on, r.sets_per_session, r.breaths_per_set, r.sessions_per_day, r.days_per_week,
    r.rest_s, r.inhale_setting, r.exhale_setting, r.inhale_load_cmh2o, r.exhale_load_cmh2o, r.device_class,
    r.effort_low, r.effort_high, r.decided_by, r.change_reason, r.recorded_on, r.file, r.line,
    c.from_on as course_from_on, c.last_on as course_last_on
  from received.prescriptions as r
  cross join settings.current as s
  cross join settled.span as p
  inner join settled.courses as c
    on c.client_key = r.client_key and r.from_on >= c.doses_from_on and r.from_on <= c.last_on
  where r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
    and r.from_on <= p.data_until_on
)
select
  b.client_key, b.course_no, b.from_on, b.sets_per_session, b.breaths_per_set, b.sessions_per_day, b.days_per_week,
  b.rest_s, b.inhale_setting, b.exhale_setting, b.inhale_load_cmh2o, b.exhale_load_cmh2o, b.device_class,
  b.effort_low, b.effort_high, b.decided_by, b.change_reason, b.recorded_on, b.file, b.line,
  greatest(b.from_on, b.course_from_on) as holds_from_on,
  least(
    coalesce(
      cast(lead(b.from_on) over (partition by b.client_key order by b.from_on) - interval (1) day as date),
      b.course_last_on
    ),
    b.course_last_on
  ) as holds_until_on
from belonging as b
