"""Function beside pressure, and the watch on manometers: on rows counted by hand, and on the sample's planted steps."""

from __future__ import annotations

import json
from datetime import date

import polars as pl
import pytest

from pipeline.analyse.common import Section
from pipeline.analyse.function import both_ends, function
from pipeline.analyse.instrument_watch import Change, bridges, changes, is_after
from tests.conftest import SAMPLE

TRUTH = json.loads((SAMPLE / "truth.json").read_text(encoding="utf-8"))


def outcome(key: str, role: str, value: float, condition: str = "copd", measure: str = "six_minute_walk_m") -> dict:
    return {"client_key": key, "measure": measure, "is_primary": True, "role": role, "value": value,
            "condition_group": condition}


def little(rows: list[dict]) -> dict[str, pl.DataFrame]:
    gains = pl.DataFrame(schema={"client_key": pl.String, "course_no": pl.Int64, "pressure": pl.String,
                                 "gain12_cmh2o": pl.Float64})
    courses = pl.DataFrame(schema={"client_key": pl.String, "course_no": pl.Int64, "is_primary": pl.Boolean})
    return {"other_outcomes": pl.DataFrame(rows), "gains": gains, "courses": courses}


def test_a_change_needs_both_ends():
    found = both_ends(little([outcome("a", "start", 300), outcome("a", "12_weeks", 330), outcome("b", "start", 200),
                              outcome("c", "12_weeks", 400), outcome("a", "other", 999)]), "six_minute_walk_m")
    assert found.select("client_key", "change").rows() == [("a", 30.0), ("b", None)]


def test_lower_grades_of_breathlessness_are_better():
    rows = [outcome(k, role, v, measure="mmrc_grade") for k, role, v in (
        ("a", "start", 3), ("a", "12_weeks", 2), ("b", "start", 2), ("b", "12_weeks", 2), ("c", "start", 1),
        ("c", "12_weeks", 0))]
    found = {r.group: r.n for r in function(little(rows)).rows if r.statistic == "graded"}
    assert found == {"measure=mmrc_grade": 3, "measure=mmrc_grade;direction=better": 2,
                     "measure=mmrc_grade;direction=the same": 1, "measure=mmrc_grade;direction=worse": 0}


def test_a_small_rest_is_not_told_by_subtraction():
    rows = [outcome(f"k{n:02}", role, 300.0 + 40 * (role != "start"), "copd" if n < 20 else "heart_failure")
            for n in range(23) for role in ("start", "12_weeks")]
    past = [r for r in function(little(rows)).rows if r.statistic == "past_important_change"]
    assert [r.text for r in past] == ["too few people to split"] * 2 and all(r.n is None for r in past)


def test_on_the_sample_walking_is_beside_pressure(by_key, frames):
    row = by_key["quarter.function.change[measure=six_minute_walk_m]@12"]
    ends = frames["other_outcomes"].filter((pl.col("measure") == "six_minute_walk_m") & pl.col("is_primary"))
    two = ends.filter(pl.col("role").is_in(["start", "12_weeks"])).group_by("client_key").len()
    assert row.n == two.filter(pl.col("len") == 2).height and row.unit == "m"
    assert row.low < 18 < row.high  # what the generator adds on average


@pytest.mark.parametrize("pressure", ["mip", "mep"])
@pytest.mark.parametrize("planted", TRUTH["gauge_changes"], ids=lambda c: c["site"])
def test_planted_steps_lie_in_the_intervals(by_key, planted, pressure):
    where = f"pressure={pressure};site={planted['site']};instrument={planted['label_after']};on={planted['on']}"
    row = by_key[f"quarter.instruments.step_cmh2o[{where}]"]
    assert row.low < planted[f"{pressure}_step_cmh2o"] < row.high and row.n >= 8
    assert row.high - row.low < 20  # an interval that could not miss would be no test


def test_a_step_of_another_size_would_be_missed(by_key):
    """The check above can fail: the same step with its sign turned is outside three of the four intervals."""
    turned = []
    for c in TRUTH["gauge_changes"]:
        for p in ("mip", "mep"):
            row = by_key[f"quarter.instruments.step_cmh2o[pressure={p};site={c['site']};"
                         f"instrument={c['label_after']};on={c['on']}]"]
            turned.append(row.low < -c[f"{p}_step_cmh2o"] < row.high)
    assert turned.count(False) >= 3


def test_a_told_replacement_and_its_new_label_are_one_change():
    rows = [{"site": "mill", "instrument": "g2", "event_on": date(2025, 3, 1), "what": w, "source": s}
            for w, s in (("label first seen", "seen"), ("replaced", "told"), ("calibrated", "told"))]
    later = rows[0] | {"event_on": date(2026, 1, 1)}
    found = changes({"instruments": pl.DataFrame([*rows, later])}, date(2025, 12, 31))
    assert found == [Change("mill", "g2", date(2025, 3, 1), "replaced")]


def test_a_change_moves_its_own_site_and_instrument_from_its_day_on():
    change = Change("mill", "g2", date(2025, 3, 1), "replaced")
    cases = [("mill", "g2", date(2025, 3, 1), date(2025, 3, 1), True), ("mill", "g2", date(2025, 2, 1), None, False),
             ("mill", "g1", date(2025, 4, 1), date(2024, 1, 1), False),
             ("harbour", "g2", date(2025, 4, 1), None, False),
             ("mill", "g3", date(2025, 9, 1), date(2025, 8, 1), True), ("mill", None, date(2025, 9, 1), None, True)]
    frame = pl.DataFrame([{"site_of_day": s, "used": u, "tested_on": on, "first_used_on": first}
                          for s, u, on, first, _ in cases])
    assert frame.select(is_after(change).alias("x"))["x"].to_list() == [c[-1] for c in cases]


def test_bridges_weigh_each_person_once():
    pairs = pl.DataFrame([
        {"client_key": k, "site": "mill", "pressure": "mip", "tested_on": date(2025, 3, d), "first_instrument": "g1",
         "second_instrument": "g2", "first_cmh2o": 70.0, "second_cmh2o": 70.0 + diff}
        for k, d, diff in (("a", 1, 4.0), ("a", 2, 8.0), ("b", 1, 2.0), ("c", 1, 4.0))])
    section = Section("quarter", "instruments")
    bridges(section, {"instrument_pairs": pairs})
    (row,) = section.rows
    assert (row.n, row.value, row.group) == (3, 4.0, "pressure=mip;site=mill;instruments=g2 - g1")
    assert row.low == pytest.approx(4 - 4.303 * 2 / 3**0.5, abs=0.01)  # t(2 df, 97.5 %) = 4.303, SD of 6, 2, 4 is 2
