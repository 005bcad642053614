"""Three adherences with bounds, per course and per quarter, from the same sums."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.sql.rows import Row, day, picked, run

WHO: Row = {"client_key": "aaaaaaaa", "course_no": 1}
COURSE = WHO | {"site": "mill", "protocol": "p"}
NONE = {"rated_below": 0, "rated_in": 0, "rated_above": 0, "eased_sessions": 0, "steps_up": 0, "steps_down": 0,
        "paused_days": 0, "illness_days": 0, "stopped_early": 0, "is_assumed": False}


def week(done: int | None, prescribed: int | None = 10, quarter: str = "2025Q1", **more: object) -> Row:
    sevenths = None if prescribed is None else 7 * prescribed
    return WHO | NONE | {"quarter": quarter, "logged_by": "none" if done is None else "sessions", "sessions_done": done,
                         "sessions_sevenths": sevenths, "sessions_sevenths_unpaused": sevenths} | more


def sums(weeks: list[Row]) -> list[Row]:
    scales = [WHO | {"effort_scale": "nrs_0_10"}]
    return run("quantities.quarter_sums", {"quantities.client_weeks": weeks, "quantities.course_scales": scales})


def adherence(*weeks: Row) -> Row:
    return run("quantities.adherence", {"quantities.quarter_sums": sums(list(weeks)), "settled.courses": [COURSE]})[0]


def session_adherence(row: Row) -> tuple[Any, ...]:
    return tuple(row[f"session_adherence{k}_pct"] for k in ("_low", "", "_high", "_unpaused"))


def test_adherence_runs_over_known_weeks_with_bounds_over_all() -> None:
    row = adherence(week(6), week(None), week(8, sessions_sevenths_unpaused=56), week(3, None))
    assert session_adherence(row) == pytest.approx((100 * 14 / 30, 70.0, 80.0, 100 * 14 / 18))
    assert (row["weeks_in_course"], row["weeks_logged"], row["logged_pct"]) == (4, 3, 75.0)


def test_adherence_is_not_capped_and_stays_within_its_bounds() -> None:
    assert session_adherence(adherence(week(15), week(None))) == pytest.approx((75.0, 150.0, 150.0, 150.0))


def test_without_a_log_anything_is_possible_and_without_a_dose_nothing_is_told() -> None:
    assert session_adherence(adherence(week(None))) == (0.0, None, 100.0, None)
    row = adherence(week(5, None))
    assert session_adherence(row) == (None, None, None, None)
    assert not row["has_prescription"]
    assert not adherence(week(5, is_assumed=True))["has_prescription"]


def test_breaths_count_in_weeks_that_know_them() -> None:
    row = adherence(week(5, breaths_done=100, breaths_sevenths=1400, breaths_sevenths_unpaused=875),
                    week(5, breaths_done=None, breaths_sevenths=1400))
    assert (row["breath_adherence_pct"], row["breath_adherence_unpaused_pct"]) == (50.0, 80.0)


def test_effort_of_the_other_scale_is_not_pooled() -> None:
    row = adherence(week(5, rated_in=3, rated_above=1, effort_scale="nrs_0_10"),
                    week(5, rated_in=5, effort_scale="cr10"))
    assert (row["in_band_pct"], row["rated_sessions"], row["effort_scale"]) == (75.0, 4, "nrs_0_10")


def test_the_scale_of_a_course_carries_most_of_its_ratings() -> None:
    weeks = [week(5, rated_in=2, effort_scale="cr10"), week(5, rated_in=2, effort_scale="cr10"),
             week(5, rated_above=3, effort_scale="nrs_0_10"), week(5)]
    assert picked(run("quantities.course_scales", {"quantities.client_weeks": weeks}), "effort_scale") == [("cr10",)]


WEEKS = st.lists(st.tuples(
    st.none() | st.integers(0, 20), st.none() | st.integers(1, 20), st.sampled_from(["2025Q1", "2025Q2"])), min_size=1)


@given(WEEKS)
@settings(max_examples=25, deadline=None)
def test_bounds_hold_and_quarters_add_up_whatever_was_logged(given_weeks: list[tuple[Any, ...]]) -> None:
    by_quarter = sums([week(done, dose, quarter) for done, dose, quarter in given_weeks])
    rows = {"quantities.quarter_sums": by_quarter, "settled.courses": [COURSE]}
    row = run("quantities.adherence", rows)[0]
    low, told, high, _ = session_adherence(row)
    assert told is None or low - 1e-9 <= told <= high + 1e-9
    quarters = run("quantities.client_quarters", rows)
    assert sum(q["weeks_in_course"] for q in quarters) == row["weeks_in_course"] == len(given_weeks)
    assert sum(q["n_sessions"] for q in quarters) == sum(done or 0 for done, _, _ in given_weeks)


def test_a_quarter_is_there_for_a_test_or_an_event_alone() -> None:
    found = run("quantities.client_quarters", {
        "quantities.quarter_sums": sums([week(5)]), "settled.courses": [COURSE],
        "quantities.test_days": [WHO | {"tested_on": day("2025-02-01")}, WHO | {"tested_on": day("2025-07-01")}],
        "settled.events": [WHO | {"event_on": day("2025-12-31")}]})
    assert picked(found, "quarter", "n_sessions", "n_tests", "events", "session_adherence_pct") == [
        ("2025Q1", 5, 1, 0, 50.0), ("2025Q3", 0, 1, 0, None), ("2025Q4", 0, 0, 1, None)]
