"""Dose and effort between tests: past only, bounds for what is not known, between and within."""

from __future__ import annotations

import pytest

from tests.sql.rows import Row, day, picked, run

WHO: Row = {"client_key": "aaaaaaaa", "course_no": 1}
TEST = WHO | {"pressure": "mip"}


def test_day_records_spread_a_diary_and_know_a_paused_day() -> None:
    days = [WHO | {"day_on": day(f"2025-01-{d:02}"), "week_no": (d - 6) // 7, "sessions_a_week": 7,
                   "is_paused": d == 21, "is_ill": False} for d in (6, 7, 13, 20, 21)]
    weeks = [WHO | {"week_no": n, "logged_by": by, "sessions_done": s, "week_days": 7, "rated_below": 0, "rated_in": 1,
                    "rated_above": 0, "effort_scale": "nrs_0_10"}
             for n, by, s in ((0, "sessions", 2), (1, "diary", 5), (2, "none", None))]
    marks = [WHO | {"session_on": day("2025-01-06"), "is_done": True, "effort_class": c, "effort_scale": k}
             for c, k in (("in", "nrs_0_10"), ("in", "cr10"))]
    found = run("quantities.day_records", {
        "quantities.course_days": days, "quantities.client_weeks": weeks, "quantities.session_marks": marks,
        "quantities.course_scales": [WHO | {"effort_scale": "nrs_0_10"}]})
    assert [r["is_known"] for r in found] == [True, True, True, False, True]
    assert [r["done_420"] for r in found] == [840, 0, 300, None, 0]
    assert [r["in_band_420"] for r in found] == [420, 0, 60, 0, 0]


def record(d: int, done: int | None, **more: object) -> Row:
    done_420 = None if done is None else 420 * done
    return WHO | {"day_on": day(f"2025-01-{d:02}"), "sessions_a_week": 14, "is_known": done is not None,
                  "done_420": done_420, "effort_420": done_420 or 0, "rated_420": 0, "in_band_420": 0,
                  "is_ill": False} | more


def test_sessions_on_or_after_the_test_day_never_count() -> None:
    tests = [TEST | {"tested_on": day("2025-01-08"), "is_baseline": False, "before_on": day("2024-12-30")}]
    rows = [record(6, 1, is_ill=True), record(7, None), record(8, 2), record(9, 2)]
    row = run("quantities.intervals", {
        "quantities.comparable_tests": tests, "quantities.day_records": rows,
        "settled.courses": [WHO | {"week0_on": day("2025-01-06")}]})[0]
    assert (row["done"], row["prescribed"], row["prescribed_known"]) == (1.0, 4.0, 2.0)
    assert (row["course_days"], row["known_days"], row["illness_days"]) == (2, 1, 1)
    assert row["interval_weeks"] == pytest.approx(2 / 7)


def interval(n: int, **more: object) -> Row:
    full = {"interval_weeks": 6.0, "course_days": 42, "known_days": 42, "illness_days": 0, "prescribed": 40.0,
            "prescribed_known": 40.0, "done": 30.0, "effort_units": 30.0, "rated_units": 20.0, "in_band_units": 15.0}
    return TEST | {"tested_on": day(f"2025-{n:02}-01")} | full | more


def doses(*intervals: Row) -> list[Row]:
    return run("quantities.interval_doses", {"quantities.intervals": list(intervals)})


def test_dose_is_the_share_done_in_12_week_units() -> None:
    row = doses(interval(1))[0]
    assert (row["interval_adherence"], row["interval_in_band_share"], row["interval_logged_share"]) == (0.75, 0.75, 1.0)
    assert row["dose_added"] == row["dose_added_low"] == row["dose_added_high"] == pytest.approx(0.375)
    assert row["effort_added"] == pytest.approx((0.75 - 0.5) * 0.5)
    assert row["effort_added_low"] == pytest.approx((15 / 30 - 0.5) * 0.5)
    assert row["effort_added_high"] == pytest.approx((25 / 30 - 0.5) * 0.5)


def test_days_not_logged_take_the_share_of_their_own_interval_within_bounds() -> None:
    row = doses(interval(1, known_days=21, prescribed_known=20.0, done=15.0))[0]
    assert row["dose_added"] == pytest.approx(0.75 * 0.5)
    assert row["dose_added_low"] == pytest.approx(15 / 40 * 0.5)
    assert row["dose_added_high"] == pytest.approx(35 / 40 * 0.5)


def test_an_interval_without_any_log_takes_the_earlier_share() -> None:
    dark = {"known_days": 0, "prescribed_known": None, "done": None, "effort_units": 0.0, "rated_units": 0.0,
            "in_band_units": 0.0}
    row = doses(interval(1), interval(2, **dark))[1]
    assert (row["interval_adherence"], row["interval_in_band_share"]) == (None, None)
    assert (row["dose_added"], row["effort_added"]) == (pytest.approx(0.375), pytest.approx(0.125))
    assert (row["dose_added_low"], row["dose_added_high"]) == (0.0, 0.5)
    assert (row["effort_added_low"], row["effort_added_high"]) == (-0.25, 0.25)
    first = doses(interval(1, **dark))[0]
    assert (first["dose_added"], first["effort_added"]) == (None, None)


def test_without_a_prescription_no_dose_can_be_told() -> None:
    row = doses(interval(1, prescribed=None, prescribed_known=None, done=None))[0]
    assert (row["dose_added"], row["dose_added_low"], row["dose_added_high"]) == (None, None, None)


def test_more_than_prescribed_is_not_capped_and_stays_within_its_bounds() -> None:
    row = doses(interval(1, known_days=21, prescribed_known=20.0, done=30.0))[0]
    assert row["dose_added"] == row["dose_added_high"] == pytest.approx(0.75)


def test_an_interval_held_throughout_adds_neither_dose_nor_effort() -> None:
    held = interval(1, done=0.0, effort_units=0.0, rated_units=0.0, in_band_units=0.0)
    row = doses(held)[0]
    assert (row["dose_added"], row["effort_added"], row["effort_added_low"], row["effort_added_high"]) == (0, 0, 0, 0)
    gone = doses(interval(1, course_days=0, known_days=0, prescribed=None, prescribed_known=None, done=None))[0]
    assert gone["dose_added"] == 0


def model(*added: float | None) -> list[Row]:
    tests = [TEST | {"tested_on": day(f"2025-{n + 1:02}-01"), "is_baseline": n == 0, "week": 6.0 * n,
                     "place_back": len(added) + 1 - n} for n in range(len(added) + 1)]
    rows = [TEST | {"tested_on": day(f"2025-{n + 1:02}-01"), "dose_added": a, "dose_added_low": 0.0,
                    "dose_added_high": 0.5, "effort_added": 0.1, "effort_added_low": 0.0, "effort_added_high": 0.2}
            for n, a in enumerate(added, start=1)]
    return run("frames.model", {"quantities.comparable_tests": tests, "quantities.interval_doses": rows,
                                "settled.courses": [WHO], "settled.clients": [{"client_key": "aaaaaaaa"}]})


def test_model_rows_cumulate_from_0_and_split_into_between_and_within() -> None:
    rows = model(0.5, 0.1)
    assert [r["dose_d"] for r in rows] == pytest.approx([0.0, 0.5, 0.6])
    assert [r["effort_e"] for r in rows] == pytest.approx([0.0, 0.1, 0.2])
    assert [r["time12"] for r in rows] == [0.0, 0.5, 1.0]
    assert [r["between_dose"] for r in rows] == pytest.approx([0.0, 0.3, 0.6])
    assert [r["within_dose"] for r in rows] == pytest.approx([0.0, 0.2, 0.0])


def test_dose_is_null_from_the_first_interval_that_cannot_be_told() -> None:
    rows = model(0.5, None, 0.5)
    assert [r["dose_d"] for r in rows] == [0.0, 0.5, None, None]
    assert [r["dose_d_low"] for r in rows] == [0.0, 0.0, 0.0, 0.0]
    assert picked(rows, "between_dose")[1:] == [(None,)] * 3


def test_what_varies_between_tests_is_past_only_and_unknown_stays_unknown() -> None:
    tests = [TEST | {"tested_on": day("2025-01-20"), "is_baseline": False, "before_on": day("2025-01-06")}]
    first = {"sessions_told": 2, "eased": 1, "wellbeing_sum": 11.0, "wellbeing_told": 2}
    rows = [record(6, 2, **first), record(7, 0, is_paused=True), record(8, 0, is_paused=True, is_ill=True),
            record(9, 2, sessions_told=2, eased=0), record(20, 2, sessions_told=2, eased=2)]  # fmt: skip
    row = run("quantities.intervals", {
        "quantities.comparable_tests": tests, "quantities.day_records": rows,
        "settled.courses": [WHO | {"week0_on": day("2025-01-06")}]})[0]
    assert (row["held_days"], row["illness_days"], row["sessions_told"], row["eased_sessions"]) == (1, 1, 4, 1)
    assert (row["wellbeing"], row["last_done_on"], row["last_unknown_on"]) == (5.5, day("2025-01-09"), None)


def weeks_away(*marks: Row) -> list[float | None]:
    days = [day(f"2025-0{n}-15") for n in range(1, len(marks) + 2)]
    tests = [TEST | {"tested_on": d, "is_baseline": n == 0, "week": 4.0 * n, "place_back": len(days) - n}
             for n, d in enumerate(days)]
    found = run("frames.model", {
        "quantities.comparable_tests": tests,
        "quantities.intervals": [TEST | {"tested_on": d} | m for d, m in zip(days[1:], marks, strict=True)],
        "settled.courses": [WHO], "settled.clients": [{"client_key": "aaaaaaaa"}]})
    return [r["weeks_since_session"] for r in sorted(found, key=lambda r: r["tested_on"])]


def test_weeks_since_the_last_session_reach_back_over_tests_and_need_every_day_since_known() -> None:
    done = {"last_done_on": day("2025-02-01")}
    assert weeks_away(done, {}) == [None, 2.0, pytest.approx(42 / 7)]
    assert weeks_away(done, {"last_unknown_on": day("2025-02-20")})[2] is None
    assert weeks_away({"last_unknown_on": day("2025-01-20")} | done)[1] == 2.0
    assert weeks_away({})[1] is None
