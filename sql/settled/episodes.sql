-- one row per episode of a client who is there, with the course it belongs to and its last day
-- A course is an episode with those that continue it; course_no is the episode_no of its first episode. An episode that
-- names an earlier one which is not there begins a course of its own. Following a chain by doubling: three steps reach
-- eight links. last_on is closed by to_on, the day before the next episode, or the end of the data
-- (under the date policy `relative`: of the client's own).
with
current_rows as (
  select
    r.client_key, r.episode_no, r.site, r.protocol, r.from_on, r.assigned_by, r.aim, r.planned_weeks, r.to_on,
    r.end_reason, r.continues_episode_no, r.goal_mip_cmh2o, r.goal_mep_cmh2o, r.referral_reason,
    r.other_rehabilitation, r.file, r.line, coalesce(w.last_on, p.data_until_on) as data_until_on
  from received.episodes as r
  cross join settings.current as s
  cross join settled.span as p
  left join settled.own_ends as w on w.client_key = r.client_key
  semi join settled.clients as c on c.client_key = r.client_key
  where r.from_batch <= s.as_of_batch and (r.to_batch is null or r.to_batch > s.as_of_batch)
    and r.from_on <= coalesce(w.last_on, p.data_until_on)
),
once as (
  select
    e.client_key, e.episode_no, e.from_on, e.to_on, e.data_until_on,
    case when e.continues_episode_no < e.episode_no then e.continues_episode_no end as earlier_no,
    lead(e.from_on) over (partition by e.client_key order by e.from_on, e.episode_no) as next_from_on
  from current_rows as e
),
links as (
  select a.client_key, a.episode_no, coalesce(b.episode_no, a.episode_no) as first_no
  from once as a
  left join once as b on b.client_key = a.client_key and b.episode_no = a.earlier_no
),
twice as (
  select a.client_key, a.episode_no, b.first_no
  from links as a
  inner join links as b on b.client_key = a.client_key and b.episode_no = a.first_no
),
fourfold as (
  select a.client_key, a.episode_no, b.first_no
  from twice as a
  inner join twice as b on b.client_key = a.client_key and b.episode_no = a.first_no
),
courses as (
  select a.client_key, a.episode_no, b.first_no
  from fourfold as a
  inner join fourfold as b on b.client_key = a.client_key and b.episode_no = a.first_no
)
select
  e.client_key, e.episode_no, e.site, e.protocol, e.from_on, e.assigned_by, e.aim, e.planned_weeks, e.to_on,
  e.end_reason, e.continues_episode_no, e.goal_mip_cmh2o, e.goal_mep_cmh2o, e.referral_reason,
  e.other_rehabilitation, e.file, e.line,
  k.first_no as course_no,
  least(
    coalesce(o.to_on, o.data_until_on),
    coalesce(cast(o.next_from_on - interval (1) day as date), o.data_until_on),
    o.data_until_on
  ) as last_on
from current_rows as e
inner join once as o on o.client_key = e.client_key and o.episode_no = e.episode_no
inner join courses as k on k.client_key = e.client_key and k.episode_no = e.episode_no
