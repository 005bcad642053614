-- one row per week whose effort classes do not add up to its sessions (a diary counts as one)
select w.client_key, w.course_no, w.week_no, w.logged_by, w.sessions_done
from quantities.client_weeks as w
where w.rated_below + w.rated_in + w.rated_above + w.not_rated
  <> case w.logged_by when 'sessions' then w.sessions_done when 'diary' then 1 else 0 end
