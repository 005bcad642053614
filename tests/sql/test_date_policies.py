"""Quarters and ends of the data under both date policies, and files of corrections: rows in, rows out."""

from __future__ import annotations

import datetime as dt

import pytest

from pipeline.contract.people import FIRST_DAY, LAST_DAY
from pipeline.identity import quarters
from pipeline.identity.day_offsets import EPOCH
from pipeline.settings import Settings
from tests.sql.rows import Row, day, picked, run

OWN = Settings(date_policy="relative")
SPAN: list[Row] = [{"data_until_on": day("2003-01-01")}]


def own(offset: int) -> dt.date:
    return EPOCH + dt.timedelta(days=offset)


@pytest.mark.parametrize("settings", [Settings(), OWN])
def test_every_day_of_the_contract_has_its_quarter_and_python_says_the_same(settings: Settings) -> None:
    found = {row["day_on"]: row["quarter"] for row in run("settled.calendar", {}, settings)}
    latest = day(LAST_DAY) + dt.timedelta(weeks=Settings().window_12_high_weeks)
    assert min(found) == day(FIRST_DAY) and max(found) >= latest and len(found) == (max(found) - min(found)).days + 1
    ends: dict[str, dt.date] = {}
    for on, label in found.items():
        assert quarters.fits(label, settings.date_policy)
        ends[label] = max(on, ends.get(label, on))
    del ends[max(ends)]  # the calendar breaks off inside its last quarter
    assert len(ends) > 400 and all(quarters.last_day(label) == on for label, on in ends.items())


def test_blocks_begin_at_the_own_start() -> None:
    found = {row["day_on"]: row["quarter"] for row in run("settled.calendar", {}, OWN)}
    told = {n: found[own(n)] for n in (-400, -1, 0, 90, 91, 181, 182, 9100)}
    assert told == {-400: "block-000", -1: "block-000", 0: "block-001", 90: "block-001", 91: "block-002",
                    181: "block-002", 182: "block-003", 9100: "block-101"}


def rows_of_two() -> dict[str, list[Row]]:
    """`aaaaaaaa` trained last on day 40, and her open course; `bbbbbbbb`: a diary week from day 70, paused from 90."""
    return {
        "received.sessions": [{"client_key": "aaaaaaaa", "session_on": own(n)} for n in (0, 40)],
        "received.weekly_logs": [{"client_key": "bbbbbbbb", "week_from_on": own(70), "returned": "yes"}],
        "received.pauses": [{"client_key": "bbbbbbbb", "from_on": own(90), "reason": "travel"}],
        "received.episodes": [
            {"client_key": "aaaaaaaa", "episode_no": 1, "from_on": own(0)},
            {"client_key": "bbbbbbbb", "episode_no": 1, "from_on": own(0), "to_on": own(84)}],
    }


def test_each_client_has_an_end_of_their_own_under_relative_and_none_under_limited() -> None:
    rows = rows_of_two()
    found = run("settled.own_ends", rows, OWN)
    assert sorted(picked(found, "client_key", "last_on")) == [("aaaaaaaa", own(40)), ("bbbbbbbb", own(90))]
    assert run("settled.own_ends", rows) == []
    gone = {"received.sessions": [{"client_key": "aaaaaaaa", "session_on": own(0)},
                                  {"client_key": "aaaaaaaa", "session_on": own(40), "to_batch": 1}]}
    assert picked(run("settled.own_ends", gone, OWN), "last_on") == [(own(0),)]


def test_the_data_end_with_the_longest_record_even_where_it_is_alone_by_far() -> None:
    ends = [{"client_key": "aaaaaaaa", "last_on": own(40)}, {"client_key": "bbbbbbbb", "last_on": own(900)}]
    assert picked(run("settled.span", {"settled.own_ends": ends}, OWN), "data_until_on") == [(own(900),)]


def test_an_open_episode_stays_open_until_the_own_end() -> None:
    rows = {"received.episodes": rows_of_two()["received.episodes"], "settled.span": SPAN,
            "settled.clients": [{"client_key": "aaaaaaaa"}, {"client_key": "bbbbbbbb"}]}
    ends: list[Row] = [{"client_key": "aaaaaaaa", "last_on": own(40)}, {"client_key": "bbbbbbbb", "last_on": own(90)}]
    episodes = run("settled.episodes", rows | {"settled.own_ends": ends}, OWN)
    assert sorted(picked(episodes, "client_key", "last_on")) == [("aaaaaaaa", own(40)), ("bbbbbbbb", own(84))]
    made = {"settled.episodes": episodes, "settled.span": SPAN, "settled.own_ends": ends}
    courses = run("settled.courses", made, OWN)
    told = sorted(picked(courses, "client_key", "is_open", "last_on"))
    assert told == [("aaaaaaaa", True, own(40)), ("bbbbbbbb", False, own(84))]
    without = run("settled.episodes", rows)
    assert ("aaaaaaaa", day("2003-01-01")) in picked(without, "client_key", "last_on")


def test_an_open_pause_lasts_to_the_own_end() -> None:
    course: Row = {"client_key": "bbbbbbbb", "course_no": 1, "record_from_on": own(-99), "record_until_on": own(999)}
    rows = {"received.pauses": [{"client_key": "bbbbbbbb", "from_on": own(50)},
                                {"client_key": "bbbbbbbb", "from_on": own(10), "to_on": own(12)}],
            "settled.courses": [course], "settled.span": SPAN}
    ends: list[Row] = [{"client_key": "bbbbbbbb", "last_on": own(90)}]
    found = run("settled.pauses", rows | {"settled.own_ends": ends}, OWN)
    assert sorted(picked(found, "until_on", "is_open")) == [(own(12), False), (own(90), True)]


@pytest.mark.parametrize(("last_on", "is_open", "due"),
                         [(112, True, 1), (111, True, 0), (84, False, 1), (69, False, 0)])
def test_a_12_week_test_is_due_by_the_own_end_or_once_the_course_is_over(last_on: int, is_open: bool, due: int) -> None:
    course: Row = {"client_key": "aaaaaaaa", "course_no": 1, "site": "mill", "from_on": own(0), "week0_on": own(0),
                   "last_on": own(last_on), "is_open": is_open}
    mip: Row = {"client_key": "aaaaaaaa", "course_no": 1, "pressure": "mip", "baseline_on": own(0)}
    found = run("quantities.complete_tests", {
        "settled.courses": [course], "settled.span": SPAN, "quantities.baselines": [mip],
        "quantities.gains": [mip | {"site": "mill"}],
        "settled.own_ends": [{"client_key": "aaaaaaaa", "last_on": own(last_on)}]}, OWN)
    asked = [row for row in found if row["item"] == "12_week_mip"]
    assert picked(asked, "quarter", "expected", "filled") == [("block-002", 1, 0)] * due


def test_a_file_of_corrections_does_not_stand_for_its_table() -> None:
    loads: list[Row] = [
        {"batch_id": 1, "file": "tests.csv", "table_name": "tests", "rows_read": 900, "is_correction": False},
        {"batch_id": 2, "file": "tests.csv", "table_name": "tests", "rows_read": 3, "is_correction": True},
        {"batch_id": 1, "file": "events.csv", "table_name": "events", "rows_read": 7}]
    found = run("settled.files", {"received.files": loads}, as_of_batch=2)
    assert sorted(picked(found, "file", "rows_read")) == [("events.csv", 7), ("tests.csv", 900)]
