-- one row per course and quarter, as in quantities
select
  q.client_key, q.course_no, q.site, q.protocol, q.quarter, q.weeks_in_course, q.weeks_logged, q.logged_pct,
  q.session_adherence_pct, q.session_adherence_low_pct, q.session_adherence_high_pct,
  q.session_adherence_unpaused_pct, q.breath_adherence_pct, q.breath_adherence_unpaused_pct, q.in_band_pct,
  q.rated_sessions, q.effort_scale, q.has_prescription, q.n_sessions, q.n_tests, q.eased_sessions, q.steps_up,
  q.steps_down, q.paused_days, q.illness_days, q.stopped_early, q.events
from quantities.client_quarters as q
