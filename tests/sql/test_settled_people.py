"""Who is there, which course an episode belongs to, and which rows wait."""

from __future__ import annotations

from pipeline.settings import Settings
from tests.sql.rows import Row, day, picked, run

SPAN = [{"data_from_on": day("2025-01-01"), "data_until_on": day("2025-12-31")}]
PERSON = [{"client_key": "aaaaaaaa"}]


def episode(no: int, from_on: str, **more: object) -> Row:
    return {"client_key": "aaaaaaaa", "episode_no": no, "site": "mill", "protocol": "p", "from_on": day(from_on)} | more


def span(received: dict[str, list[Row]], settings: Settings | None = None) -> list[Row]:
    return run("settled.span", {"settled.active_days": run("settled.active_days", received)}, settings)


def test_span_is_the_last_day_found_or_the_day_of_the_settings() -> None:
    rows: dict[str, list[Row]] = {
        "received.sessions": [{"session_on": day("2025-03-01")}],
        "received.weekly_logs": [{"week_from_on": day("2025-03-01"), "returned": "yes"},
                                 {"week_from_on": day("2025-06-01"), "returned": "lost"}],
    }
    found = span(rows)
    assert picked(found, "data_from_on", "data_until_on") == [(day("2025-03-01"), day("2025-03-07"))]
    cut = span(rows, Settings(data_until_on="2025-03-04"))
    assert picked(cut, "data_until_on") == [(day("2025-03-04"),)]


def test_one_slip_far_in_the_future_does_not_stretch_the_data() -> None:
    sessions = [{"client_key": k, "session_on": day(d)} for k, d in (
        ("aaaaaaaa", "2025-03-01"), ("bbbbbbbb", "2025-03-02"), ("aaaaaaaa", "2025-05-25"), ("bbbbbbbb", "2052-03-01"))]
    assert picked(span({"received.sessions": sessions}), "data_until_on") == [(day("2025-05-25"),)]
    alone = span({"received.sessions": sessions[::2]})
    assert picked(alone, "data_until_on") == [(day("2025-05-25"),)]


def test_key_with_rows_that_disagree_is_held_with_its_earlier_row() -> None:
    fault = {"rule": "clients.row.conflict", "client_key_ok": "aaaaaaaa", "file": "clients.csv"}
    other = {"rule": "clients.row.repeated", "client_key_ok": "bbbbbbbb", "file": "clients.csv"}
    held = run("settled.held_clients", {"settled.set_aside": [fault | {"line": 9}, fault | {"line": 5}, other]})
    assert picked(held, "client_key", "line", "n_rows") == [("aaaaaaaa", 5, 2)]
    kept = run("settled.clients", {"received.clients": [*PERSON, {"client_key": "bbbbbbbb"}],
                                   "settled.held_clients": PERSON})
    assert picked(kept, "client_key") == [("bbbbbbbb",)]


def test_rows_are_those_current_at_the_batch_asked_for() -> None:
    versions = [{"client_key": "aaaaaaaa", "age_years": 60, "from_batch": 1, "to_batch": 3},
                {"client_key": "aaaaaaaa", "age_years": 61, "from_batch": 3}]
    ages = [run("settled.clients", {"received.clients": versions}, as_of_batch=b)[0]["age_years"] for b in (1, 2, 3)]
    assert ages == [60, 60, 61]


def test_episode_ends_with_its_last_day_the_next_episode_or_the_data() -> None:
    rows = [episode(1, "2025-01-10", to_on=day("2025-02-10")), episode(2, "2025-03-01"), episode(3, "2025-11-01")]
    found = run("settled.episodes", {"received.episodes": rows, "settled.clients": PERSON, "settled.span": SPAN})
    assert picked(found, "episode_no", "last_on") == [
        (1, day("2025-02-10")), (2, day("2025-10-31")), (3, day("2025-12-31"))]


def test_course_follows_the_chain_of_a_mover_and_not_a_missing_link() -> None:
    rows = [episode(1, "2025-01-10"), episode(2, "2025-03-01", continues_episode_no=1),
            episode(3, "2025-05-01", continues_episode_no=2), episode(4, "2025-06-01", continues_episode_no=3),
            episode(6, "2025-08-01", continues_episode_no=5), episode(7, "2025-09-01", continues_episode_no=8)]
    found = run("settled.episodes", {"received.episodes": rows, "settled.clients": PERSON, "settled.span": SPAN})
    assert picked(found, "episode_no", "course_no") == [(1, 1), (2, 1), (3, 1), (4, 1), (6, 6), (7, 7)]


def test_course_takes_first_site_last_end_and_the_first_session() -> None:
    base = {"client_key": "aaaaaaaa", "course_no": 1}
    episodes = [base | {"episode_no": 1, "site": "mill", "protocol": "p", "from_on": day("2025-01-10"),
                        "last_on": day("2025-02-28"), "to_on": day("2025-02-28"), "end_reason": "moved_site"},
                base | {"episode_no": 2, "site": "harbour", "protocol": "q", "from_on": day("2025-03-01"),
                        "last_on": day("2025-12-31")}]
    sessions = [base | {"session_on": day("2025-01-13")}, base | {"session_on": day("2025-01-12")}]
    rows: dict[str, list[Row]] = {"settled.episodes": episodes, "settled.sessions": sessions, "settled.span": SPAN}
    columns = ("site", "protocol", "week0_on", "last_on", "is_open", "end_reason", "n_episodes", "is_mover",
               "is_primary")
    assert picked(run("settled.courses", rows), *columns) == [
        ("mill", "p", day("2025-01-12"), day("2025-12-31"), True, None, 2, True, True)]
    rows["settled.weekly_logs"] = [base | {"week_from_on": day("2025-01-03"), "returned": "yes"}]
    assert picked(run("settled.courses", rows), "week0_on") == [(day("2025-01-10"),)]


def test_days_between_two_courses_are_told_under_the_one_before() -> None:
    rows = [{"client_key": "aaaaaaaa", "episode_no": n, "course_no": n, "site": "mill", "protocol": "p",
             "from_on": day(a), "last_on": day(b), "to_on": day(b)}
            for n, a, b in ((1, "2025-01-10", "2025-02-10"), (2, "2025-05-01", "2025-06-01"))]
    found = run("settled.courses", {"settled.episodes": rows, "settled.span": SPAN})
    assert picked(found, "record_from_on", "record_until_on", "doses_from_on", "is_primary") == [
        (day("0001-01-01"), day("2025-04-30"), day("0001-01-01"), True),
        (day("2025-05-01"), day("9999-12-31"), day("2025-02-11"), False)]


def test_rows_that_belong_nowhere_say_what_is_missing() -> None:
    inside = {"client_key": "aaaaaaaa", "from_on": day("2025-01-10"), "last_on": day("2025-02-10")}
    keys = ("aaaaaaaa", "aaaaaaaa", "bbbbbbbb", "cccccccc", "dddddddd")
    days = ("2025-01-11", "2025-02-11", "2025-01-11", "2025-01-11", "2025-01-11")
    sessions = [{"client_key": k, "session_on": day(d)} for k, d in zip(keys, days, strict=True)]
    found = run("settled.not_belonging", {
        "received.sessions": sessions, "settled.episodes": [inside], "settled.span": SPAN,
        "settled.clients": [{"client_key": "aaaaaaaa"}, {"client_key": "bbbbbbbb"}],
        "settled.held_clients": [{"client_key": "dddddddd"}],
    })
    assert picked(found, "client_key", "line", "missing") == [
        ("aaaaaaaa", 3, "day"), ("bbbbbbbb", 4, "episode"), ("cccccccc", 5, "client")]


def test_rows_after_the_end_are_told_only_where_the_data_show_it_themselves() -> None:
    rows: dict[str, list[Row]] = {"received.sessions": [{"client_key": "aaaaaaaa", "session_on": day("2052-01-01")}],
                                  "settled.clients": PERSON, "settled.span": SPAN}
    assert picked(run("settled.not_belonging", rows), "missing") == [("later",)]
    assert run("settled.not_belonging", rows, Settings(data_until_on="2025-12-31")) == []
