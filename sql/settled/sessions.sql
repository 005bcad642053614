-- one row per session of an episode that is there, with its course; same_slot_no 2 and more: the slot is told twice
-- Of two rows of one morning or one evening the one with more breaths counts (same_slot_no 1).
with
belonging as (
  select
    r.client_key, e.course_no, e.episode_no, r.session_on, r.slot, r.sets_done, r.breaths_done, r.inhale_setting,
    r.exhale_setting, r.effort_rating, r.effort_scale, r.wellbeing_before, r.supervised, r.stopped_early,
    r.stop_reason, r.ease_reason, r.spo2_min_pct, r.mouthpiece, r.file, r.line
  from received.sessions as r
  cross join settings.current as s
  cross join settled.span as p
  inner join settled.episodes as e
    on e.client_key = r.client_key and r.session_on >= e.from_on and r.session_on <= e.last_on
  where r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
    and r.session_on <= p.data_until_on
),
numbered as (
  select
    b.*,
    row_number() over (
      partition by b.client_key, b.session_on, b.slot order by coalesce(b.breaths_done, -1) desc, b.file, b.line
    ) as place
  from belonging as b
)
select
  n.client_key, n.course_no, n.episode_no, n.session_on, n.slot,
  cast(case when n.slot in ('am', 'pm') then n.place else 1 end as bigint) as same_slot_no,
  n.sets_done, n.breaths_done, n.inhale_setting, n.exhale_setting, n.effort_rating, n.effort_scale,
  n.wellbeing_before, n.supervised, n.stopped_early, n.stop_reason, n.ease_reason, n.spo2_min_pct, n.mouthpiece,
  n.file, n.line
from numbered as n
