-- one row per course: an episode with those that continue it; site and protocol are those of its first episode
-- Week 0 begins on the day of the first session, or with the course where sessions are not known (or where diaries came
-- back from before the first session row). record_from_on and record_until_on bound the days whose tests, events and
-- pauses are told under this course; doses_from_on the days from which a dose may have been written down for it.
with
placed as (
  select
    e.*,
    row_number() over (partition by e.client_key, e.course_no order by e.from_on, e.episode_no) as place,
    row_number() over (partition by e.client_key, e.course_no order by e.from_on desc, e.episode_no desc) as place_back
  from settled.episodes as e
),
whole as (
  select
    e.client_key,
    e.course_no,
    min(e.from_on) as from_on,
    max(e.last_on) as last_on,
    count(*) as n_episodes,
    count(distinct e.site) as n_sites
  from settled.episodes as e
  group by e.client_key, e.course_no
),
first_session as (
  select t.client_key, t.course_no, min(t.session_on) as session_on
  from settled.sessions as t
  group by t.client_key, t.course_no
),
first_diary as (
  select w.client_key, w.course_no, min(w.week_from_on) as week_from_on
  from settled.weekly_logs as w
  where w.returned = 'yes'
  group by w.client_key, w.course_no
),
ordered as (
  select
    w.client_key, w.course_no, w.from_on, w.last_on, w.n_episodes, w.n_sites,
    row_number() over (partition by w.client_key order by w.from_on, w.course_no) as place,
    lag(w.last_on) over (partition by w.client_key order by w.from_on, w.course_no) as before_last_on,
    lead(w.from_on) over (partition by w.client_key order by w.from_on, w.course_no) as next_from_on,
    coalesce(n.last_on, p.data_until_on) as data_until_on
  from whole as w
  cross join settled.span as p
  left join settled.own_ends as n on n.client_key = w.client_key
)
select
  o.client_key, o.course_no, a.site, a.protocol, o.from_on,
  case
    when t.session_on is null or d.week_from_on < cast(t.session_on - interval (6) day as date) then o.from_on
    else t.session_on
  end as week0_on,
  o.last_on,
  o.last_on = o.data_until_on and (z.to_on is null or z.to_on > o.data_until_on) as is_open,
  case when z.to_on <= o.data_until_on or o.last_on < o.data_until_on then z.end_reason end as end_reason,
  a.assigned_by, a.aim, a.planned_weeks,
  coalesce(z.goal_mip_cmh2o, a.goal_mip_cmh2o) as goal_mip_cmh2o,
  coalesce(z.goal_mep_cmh2o, a.goal_mep_cmh2o) as goal_mep_cmh2o,
  a.referral_reason, a.other_rehabilitation,
  o.n_episodes,
  o.n_sites > 1 as is_mover,
  o.place = 1 as is_primary,
  case when o.place = 1 then date '0001-01-01' else o.from_on end as record_from_on,
  coalesce(cast(o.next_from_on - interval (1) day as date), date '9999-12-31') as record_until_on,
  coalesce(cast(o.before_last_on + interval (1) day as date), date '0001-01-01') as doses_from_on
from ordered as o
inner join placed as a on a.client_key = o.client_key and a.course_no = o.course_no and a.place = 1
inner join placed as z on z.client_key = o.client_key and z.course_no = o.course_no and z.place_back = 1
left join first_session as t on t.client_key = o.client_key and t.course_no = o.course_no
left join first_diary as d on d.client_key = o.client_key and d.course_no = o.course_no
