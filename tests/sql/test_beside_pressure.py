"""What stands beside the pressures: other measurements with their role, two manometers on one day, looks at clients."""

from __future__ import annotations

import pytest

from tests.sql.rows import Row, day, picked, run

WHO: Row = {"client_key": "aaaaaaaa", "course_no": 1}
COURSE = WHO | {"week0_on": day("2025-01-06"), "record_from_on": day("0001-01-01"),
                "record_until_on": day("9999-12-31")}
SPAN: list[Row] = [{"data_until_on": day("2025-12-31")}]


def measured(*days: str) -> list[Row]:
    return [WHO | {"measure": "six_minute_walk_m", "measured_on": day(d), "value": float(n)}
            for n, d in enumerate(days)]


@pytest.mark.parametrize(("days", "roles"), [
    (("2024-12-20", "2025-01-06"), ["other", "start"]),  # of two in the window the last is the start
    (("2024-11-20",), ["other"]),  # 47 days before: too early
    (("2025-01-13",), ["start"]),  # 7 days after, the window's end
    (("2025-03-24", "2025-03-30", "2025-04-20"), ["other", "12_weeks", "other"]),  # weeks 11.0, 11.9 and 14.9
    (("2025-04-29",), ["other"]),  # week 16.1
])  # fmt: skip
def test_a_measurement_is_the_start_the_12_week_value_or_neither(days: tuple[str, ...], roles: list[str]) -> None:
    found = run("quantities.outcome_roles", {"settled.other_outcomes": measured(*days), "settled.courses": [COURSE]})
    assert [r["role"] for r in sorted(found, key=lambda r: r["measured_on"])] == roles


def test_other_outcomes_carry_quarter_and_condition() -> None:
    found = run("frames.other_outcomes", {
        "quantities.outcome_roles": [r | {"role": "start"} for r in measured("2025-04-01")],
        "settled.courses": [COURSE | {"site": "mill", "is_primary": True}],
        "settled.clients": [{"client_key": "aaaaaaaa", "condition_group": "copd"}]})
    assert picked(found, "quarter", "site", "condition_group", "role") == [("2025Q2", "mill", "copd", "start")]


def test_two_manometers_on_one_day_make_a_pair_of_best_acceptable_efforts() -> None:
    efforts = [WHO | {"pressure": "mip", "tested_on": day("2025-02-03"), "instrument": i, "value_cmh2o": v,
                      "acceptable": a} for i, v, a in (("g1", 70.0, "yes"), ("g1", 72.0, None), ("g2", 75.0, "yes"),
                                                       ("g2", 90.0, "no"), (None, 80.0, "yes"))]
    alone = efforts[0] | {"tested_on": day("2025-03-03")}
    found = run("quantities.instrument_pairs", {"settled.tests": [*efforts, alone]})
    assert picked(found, "first_instrument", "second_instrument", "first_cmh2o", "second_cmh2o") == [
        ("g1", "g2", 72.0, 75.0)]


def test_pairs_carry_the_site_of_the_day() -> None:
    pair = WHO | {"pressure": "mip", "tested_on": day("2025-02-03")}
    stay = {"client_key": "aaaaaaaa", "site": "mill", "from_on": day("0001-01-01"), "until_on": day("9999-12-31")}
    found = run("frames.instrument_pairs", {"quantities.instrument_pairs": [pair], "settled.whereabouts": [stay]})
    assert picked(found, "site", "quarter") == [("mill", "2025Q1")]


def test_a_look_after_the_last_day_of_the_data_waits() -> None:
    looks: list[Row] = [{"client_key": "aaaaaaaa", "reviewed_on": day(d), "outcome": "plan_kept"}
                        for d in ("2025-12-31", "2026-01-10")]
    found = run("settled.reviews", {"received.reviews": looks, "settled.span": SPAN, "settled.courses": [COURSE]})
    assert picked(found, "reviewed_on", "outcome") == [(day("2025-12-31"), "plan_kept")]


def test_a_look_at_nobody_is_asked_about() -> None:
    looks: list[Row] = [{"client_key": "aaaaaaaa", "reviewed_on": day("2025-12-01")}]
    found = run("settled.not_belonging", {"received.reviews": looks, "settled.span": SPAN})
    assert picked(found, "table_name", "missing") == [("reviews", "client")]


def test_looks_carry_their_quarter() -> None:
    looks = [WHO | {"reviewed_on": day("2025-10-01"), "outcome": "other"}]
    assert picked(run("frames.reviews", {"settled.reviews": looks}), "quarter", "outcome") == [("2025Q4", "other")]
