"""Test days, comparable series, baselines and gains."""

from __future__ import annotations

import pytest

from tests.sql.rows import Row, day, picked, run

WHO: Row = {"client_key": "aaaaaaaa", "course_no": 1}
COURSE = WHO | {"site": "mill", "protocol": "p", "from_on": day("2025-03-01"), "week0_on": day("2025-03-03"),
                "last_on": day("2025-06-30"), "record_until_on": day("9999-12-31")}


def effort(no: int, value: float | None, **more: object) -> Row:
    return WHO | {"tested_on": day("2025-03-10"), "pressure": "mip", "effort_no": no, "value_cmh2o": value} | more


def best(*efforts: Row) -> list[Row]:
    return run("quantities.test_days", {"settled.tests": list(efforts), "settled.courses": [COURSE]})


def test_best_acceptable_effort_with_its_repeatability() -> None:
    row = best(effort(1, 90.0), effort(2, 100.0, metric="peak"), effort(3, 120.0, acceptable="no"),
                    effort(4, 80.0, acceptable="yes"), effort(5, None))[0]
    assert (row["best_cmh2o"], row["second_cmh2o"], row["efforts_kept"], row["metric"]) == (100.0, 90.0, 3, "peak")
    assert (row["repeatability"], row["is_rep10"], row["is_rep20"]) == (pytest.approx(0.1), True, True)
    assert (row["week"], row["test_no"], row["under_10_cmh2o"]) == (1.0, 1, False)


@pytest.mark.parametrize(("second", "rep10", "rep20"), [(90.0, True, True), (89.9, False, True), (79.9, False, False)])
def test_repeatability_flags_include_their_edge(second: float, rep10: bool, rep20: bool) -> None:
    row = best(effort(1, 100.0), effort(2, second))[0]
    assert (row["is_rep10"], row["is_rep20"]) == (rep10, rep20)


@pytest.mark.parametrize(("recorded", "kept"), [("best_only", None), (None, None), ("all", 1)])
def test_a_lone_effort_does_not_say_how_many_there_were(recorded: str | None, kept: int | None) -> None:
    row = best(effort(1, 9.5, efforts_recorded=recorded))[0]
    assert (row["efforts_kept"], row["repeatability"], row["is_rep10"]) == (kept, None, None)
    assert row["under_10_cmh2o"] and row["best_cmh2o"] == 9.5


def on(month: int, **more: object) -> Row:
    return WHO | {"pressure": "mip", "tested_on": day(f"2025-{month:02}-01"), "metric": "plateau_1s"} | more


def test_series_breaks_on_a_known_change_only() -> None:
    rows = [on(1, posture="seated"), on(2, posture=None), on(3, posture="seated", instrument="g2"),
            on(4, posture="standing"), on(5, posture="standing", metric="peak", mouthpiece="tube")]
    found = run("quantities.series", {"quantities.test_days": rows})
    assert picked(found, "series_no", "break_reason") == [
        (1, ""), (1, ""), (1, ""), (2, "posture"), (3, "metric")]
    rows = [on(1, posture="seated"), on(2, posture="supine", metric="peak")]
    both = run("quantities.series", {"quantities.test_days": rows})
    assert both[1]["break_reason"] == "metric and posture"


def baselines(*days: str, **course: object) -> Row:
    tests = [WHO | {"pressure": "mip", "tested_on": day(d), "test_no": n, "best_cmh2o": 50.0 + n}
             for n, d in enumerate(days, start=1)]
    series = [WHO | {"pressure": "mip", "tested_on": day(d), "series_no": n} for n, d in enumerate(days, start=1)]
    series = [{k: v for k, v in s.items() if k != "course_no"} for s in series]
    found = run("quantities.baselines", {"settled.courses": [COURSE | course], "quantities.test_days": tests,
                                         "quantities.series": series})
    return next(r for r in found if r["pressure"] == "mip")


def test_baseline_is_the_last_test_of_its_window_with_both_edges_in() -> None:
    row = baselines("2025-01-18", "2025-03-10", "2025-03-11")  # 42 days before the start, 7 days after week 0
    assert (row["baseline_on"], row["baseline_cmh2o"], row["series_no"]) == (day("2025-03-10"), 52.0, 2)
    assert (row["first_ever"], row["prior_test_days"], row["no_baseline_reason"]) == (False, 1, None)
    assert baselines("2025-01-18", "2025-03-11")["baseline_on"] == day("2025-01-18")


@pytest.mark.parametrize(("days", "reason"), [
    ((), "no_test"), (("2025-01-17",), "only_earlier_tests"), (("2025-03-11",), "only_later_tests"),
    (("2025-01-17", "2025-03-11"), "only_tests_outside_window"),
])
def test_no_baseline_has_a_reason(days: tuple[str, ...], reason: str) -> None:
    row = baselines(*days)
    assert (row["baseline_on"], row["first_ever"], row["no_baseline_reason"]) == (None, None, reason)


def test_comparable_tests_are_those_of_the_series_until_the_course_is_over() -> None:
    days = ("2025-02-20", "2025-03-02", "2025-04-01", "2025-05-01", "2025-08-11", "2025-08-12")
    series = (1, 1, 2, 1, 1, 1)
    tests = [WHO | {"pressure": "mip", "tested_on": day(d), "best_cmh2o": 60.0} for d in days]
    spans = [{"client_key": "aaaaaaaa", "pressure": "mip", "tested_on": day(d), "series_no": s}
             for d, s in zip(days, series, strict=True)]
    found = run("quantities.comparable_tests", {
        "settled.courses": [COURSE], "quantities.test_days": tests, "quantities.series": spans,
        "quantities.baselines": [WHO | {"pressure": "mip", "baseline_on": day("2025-03-02"), "series_no": 1}]})
    assert picked(found, "tested_on", "is_baseline", "before_on") == [
        (day("2025-03-02"), True, None), (day("2025-05-01"), False, day("2025-03-02")),
        (day("2025-08-11"), False, day("2025-05-01"))]
    assert found[0]["week"] == 0 and found[1]["week"] == pytest.approx(59 / 7)


def gains(weeks: tuple[float, ...], n_later: int = 0) -> Row:
    tests = [WHO | {"pressure": "mip", "tested_on": day(f"2025-04-{n:02}"), "week": w, "value_cmh2o": 50.0 + w,
                    "is_baseline": n == 1, "place_back": len(weeks) + 1 - n} for n, w in enumerate(weeks, start=1)]
    later = [WHO | {"pressure": "mip", "tested_on": day(f"2025-05-{n:02}")} for n in range(1, n_later + 1)]
    found = run("quantities.gains", {
        "settled.courses": [COURSE], "quantities.comparable_tests": tests, "quantities.test_days": later,
        "quantities.baselines": [WHO | {"pressure": "mip", "baseline_on": day("2025-04-01") if weeks else None,
                                        "baseline_cmh2o": 50.0 if weeks else None}],
        "reference.predictions": [
            {"client_key": "aaaaaaaa", "equation": e, "pressure": p, "predicted_cmh2o": v, "preference": n}
            for n, (e, p, v) in enumerate((("x", "mep", 10.0), ("z", "mip", 80.0), ("a", "mip", 40.0)), start=1)]})
    return found[0]


def test_gain_at_12_weeks_is_the_nearest_test_of_the_window() -> None:
    row = gains((0.0, 9.9, 10.0, 13.5, 16.0, 17.0))
    assert (row["at12_week"], row["gain12_cmh2o"]) == (13.5, 13.5)
    assert (row["last_week"], row["gain_last_cmh2o"], row["n_tests"], row["no_gain_reason"]) == (17.0, 17.0, 6, None)
    assert gains((0.0, 10.0, 14.0))["at12_week"] == 10.0  # as near: the earlier one
    assert gains((0.0, 9.9, 16.2))["at12_week"] is None


def test_pct_predicted_uses_the_first_equation_that_covers_the_client() -> None:
    row = gains((0.0, 12.0))
    assert (row["equation"], row["baseline_pct_predicted"], row["last_pct_predicted"]) == ("z", 62.5, 77.5)


@pytest.mark.parametrize(("weeks", "n_later", "reason"), [
    ((), 0, "no_baseline"), ((0.0,), 0, "no_later_test"), ((0.0,), 1, "series_broken")])
def test_no_gain_has_a_reason(weeks: tuple[float, ...], n_later: int, reason: str) -> None:
    row = gains(weeks, n_later)
    assert (row["gain_last_cmh2o"], row["no_gain_reason"]) == (None, reason)
