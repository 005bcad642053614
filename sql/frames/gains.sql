-- one row per course and pressure, as in quantities
select
  g.client_key, g.course_no, g.site, g.protocol, g.pressure, g.baseline_on, g.baseline_cmh2o, g.first_ever, g.at12_on,
  g.at12_week, g.at12_cmh2o, g.gain12_cmh2o, g.last_on, g.last_week, g.last_cmh2o, g.gain_last_cmh2o, g.n_tests,
  g.baseline_pct_predicted, g.last_pct_predicted, g.equation, g.lower_limit_cmh2o, g.no_gain_reason
from quantities.gains as g
