-- one row per row of the model frame whose dose or effort lies outside its bounds, or is not 0 at baseline
select m.client_key, m.course_no, m.pressure, m.tested_on, m.dose_d, m.effort_e
from frames.model as m
where m.dose_d < m.dose_d_low - 1e-9
  or m.dose_d > m.dose_d_high + 1e-9
  or m.effort_e < m.effort_e_low - 1e-9
  or m.effort_e > m.effort_e_high + 1e-9
  or (m.is_baseline and (m.dose_d <> 0 or m.effort_e <> 0 or m.time12 <> 0))
  or abs(m.between_dose + m.within_dose - m.dose_d) > 1e-9
