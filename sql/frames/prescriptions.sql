-- one row per dose, with its course, the days on which it holds and the course week in which it begins
select
  p.client_key, p.course_no, c.site, c.protocol, p.holds_from_on, p.holds_until_on, p.sets_per_session,
  p.breaths_per_set, p.sessions_per_day, p.days_per_week, p.rest_s, p.inhale_setting, p.exhale_setting,
  p.inhale_load_cmh2o, p.exhale_load_cmh2o, p.device_class, p.effort_low, p.effort_high, p.decided_by, p.change_reason,
  p.recorded_on,
  cast(floor(cast(date_diff('day', c.week0_on, p.holds_from_on) as double) / 7) as bigint) as week
from settled.prescriptions as p
inner join settled.courses as c on c.client_key = p.client_key and c.course_no = p.course_no
