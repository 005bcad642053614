-- one row per session of an episode that is there, with its course
select
  r.client_key, e.course_no, e.episode_no, r.session_on, r.slot, r.sets_done, r.breaths_done, r.inhale_setting,
  r.exhale_setting, r.effort_rating, r.effort_scale, r.wellbeing_before, r.supervised, r.stopped_early,
  r.stop_reason, r.ease_reason, r.spo2_min_pct, r.mouthpiece, r.file, r.line
from received.sessions as r
cross join settings.current as s
inner join settled.episodes as e
  on e.client_key = r.client_key and r.session_on >= e.from_on and r.session_on <= e.last_on
where r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
