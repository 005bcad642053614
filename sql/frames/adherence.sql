-- one row per course, as in quantities
select
  a.client_key, a.course_no, a.site, a.protocol, a.weeks_in_course, a.weeks_logged, a.logged_pct,
  a.session_adherence_pct, a.session_adherence_low_pct, a.session_adherence_high_pct,
  a.session_adherence_unpaused_pct, a.breath_adherence_pct, a.breath_adherence_unpaused_pct, a.in_band_pct,
  a.rated_sessions, a.effort_scale, a.has_prescription
from quantities.adherence as a
