-- one row per course whose quarters do not add up to its weeks, its sessions or its test days
with
quarters as (
  select
    q.client_key, q.course_no,
    cast(sum(q.weeks_in_course) as bigint) as n_weeks,
    cast(sum(q.n_sessions) as bigint) as n_sessions,
    cast(sum(q.n_tests) as bigint) as n_tests
  from quantities.client_quarters as q
  group by q.client_key, q.course_no
),
weeks as (
  select w.client_key, w.course_no, count(*) as n_weeks, cast(coalesce(sum(w.sessions_done), 0) as bigint) as n_sessions
  from quantities.client_weeks as w
  group by w.client_key, w.course_no
),
test_counts as (
  select t.client_key, t.course_no, count(*) as n_tests
  from quantities.test_days as t
  group by t.client_key, t.course_no
)
select c.client_key, c.course_no, q.n_weeks, q.n_sessions, q.n_tests
from settled.courses as c
left join quarters as q on q.client_key = c.client_key and q.course_no = c.course_no
left join weeks as w on w.client_key = c.client_key and w.course_no = c.course_no
left join test_counts as t on t.client_key = c.client_key and t.course_no = c.course_no
where coalesce(q.n_weeks, 0) <> coalesce(w.n_weeks, 0)
  or coalesce(q.n_sessions, 0) <> coalesce(w.n_sessions, 0)
  or coalesce(q.n_tests, 0) <> coalesce(t.n_tests, 0)
