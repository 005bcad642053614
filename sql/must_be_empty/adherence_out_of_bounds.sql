-- one row per course whose adherence lies outside its own bounds, or is told without a prescription
select
  a.client_key, a.course_no, a.session_adherence_low_pct, a.session_adherence_pct, a.session_adherence_high_pct
from quantities.adherence as a
cross join settings.current as s
where a.session_adherence_pct < a.session_adherence_low_pct - 1e-9
  or a.session_adherence_pct > a.session_adherence_high_pct + 1e-9
  or a.session_adherence_unpaused_pct < a.session_adherence_pct - 1e-9
  or (a.session_adherence_pct is not null and not a.has_prescription and not s.usual_dose_assumed)
