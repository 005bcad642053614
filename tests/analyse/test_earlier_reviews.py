"""What a review says of earlier ones: restated numbers, scored predictions, the ledger; on rows counted by hand."""

from __future__ import annotations

from datetime import date

import numpy as np
import polars as pl
import pytest

from pipeline.analyse.ledger import NOW, Line, ledger, lines
from pipeline.analyse.restatement import Earlier, Printed, Step, moves, restatement
from pipeline.analyse.scored import brier, kept_predictions, kept_states, matched, scored
from pipeline.identity.small_cells import broken_sums, protect
from pipeline.results import Result, ResultSet
from pipeline.settings import Settings

GAIN = "quarter.gains.gain_cmh2o[pressure=mip]@12"
PEOPLE = "quarter.who.people[period=this]"
NO_ROWS = pl.DataFrame(schema={"table_name": pl.String, "how": pl.String, "n_rows": pl.Int64, "n_people": pl.Int64})


def gain(value: float) -> Result:
    return Result("quarter", "gains", "gain_cmh2o", "pressure=mip", 12.0, n=200, value=value, low=value - 1,
                  high=value + 1, unit="cmH2O")


def told(steps: list[Step], **printed: Printed) -> dict[str, Result]:
    found = restatement(Earlier("2026Q2", printed or {GAIN: Printed(10.0, 190, "cmH2O")}), steps, NO_ROWS, 10)
    assert broken_sums(found) == []
    return {f"{r.statistic}[{r.group}]": r for r in found.rows}


def test_without_an_earlier_review_it_says_so():
    (row,) = restatement(None, (), NO_ROWS, 10).rows
    assert row.statistic == "state" and "nothing to restate" in row.text


def test_each_cause_gets_its_own_move():
    steps = [Step(c, {GAIN: gain(v)}) for c, v in (("program", 10.5), ("settings", 10.5), ("data", 9.0))]
    assert moves(GAIN, 10.0, steps) == {"program": 0.5, "settings": 0.0, "data": -1.5}
    rows, where = told(steps), GAIN
    assert rows[f"moved[of={where}]"].value == -1.0 and rows[f"moved[of={where}]"].text == "program, data"
    assert rows[f"moved_by[of={where};cause=data]"].value == -1.5
    assert rows["headlines_moved[all]"].value == 1.0


def test_a_changed_plan_has_a_move_of_its_own():
    steps = [Step(c, {GAIN: gain(v)}) for c, v in (("settings", 10.25), ("plan", 9.25), ("data", 9.25))]
    rows = told(steps)
    assert rows[f"moved[of={GAIN}]"].text == "settings, plan"
    assert rows[f"moved_by[of={GAIN};cause=plan]"].value == -1.0
    assert f"moved_by[of={GAIN};cause=data]" not in rows


def test_an_unmoved_number_is_unchanged():
    rows = told([Step("data", {GAIN: gain(10.0 + 1e-13)})])
    assert rows[f"moved[of={GAIN}]"].text == "unchanged" and rows["headlines_moved[all]"].value == 0.0


def test_a_number_that_cannot_be_given_any_more_is_said():
    assert told([Step("data", {})])[f"stands_now[of={GAIN}]"].text == "cannot be given any more"


@pytest.mark.parametrize(("before", "now"), [(98, 101), (101, 98)])
def test_late_people_cannot_be_subtracted_in_the_shared_edition(before, now):
    row = Result("quarter", "who", "people", "period=this", n=now)
    found = restatement(Earlier("2026Q2", {PEOPLE: Printed(float(before), before, "")}), [Step("data", {PEOPLE: row})],
                        NO_ROWS, 10)
    assert broken_sums(found) == []
    counts = ("printed", "stands_now", "moved")
    shown = {r.statistic: r.value for r in protect(found, 10).rows if r.value is not None and r.statistic in counts}
    assert "moved" not in shown and len(shown) == 1  # one of the two counts alone gives nothing back


def kept(key: str, text: str = "", value: float | None = None, half: float = 0.0) -> dict:
    low, high = (None, None) if value is None else (value - half, value + half)
    return {"key": key, "text": text, "value": value, "low": low, "high": high}


KEPT = pl.DataFrame([
    *(kept(f"stalled.predictions.prediction_cmh2o[aaaaaaaa;pressure=mip]@{w}", "2026-06-30", v, 19.6)
      for w, v in ((1, 60.0), (5, 64.0), (9, 68.0), (13, 72.0))),
    kept("stalled.worklist.state[aaaaaaaa;pressure=mip]", "stalled"), kept(GAIN, "", 10.0, 1.0)])


def test_kept_rows_are_taken_apart():
    assert kept_predictions(KEPT).select("client_key", "pressure", "weeks_on").row(1) == ("aaaaaaaa", "mip", 5.0)
    assert kept_states(KEPT).rows() == [("aaaaaaaa", "mip", "stalled")]


def a_test(on: date, value: float) -> pl.DataFrame:
    return pl.DataFrame([{"client_key": "aaaaaaaa", "pressure": "mip", "tested_on": on, "value_cmh2o": value,
                          "baseline_cmh2o": 50.0}])


@pytest.mark.parametrize(("value", "inside"), [(66.0, True), (46.5, True), (46.3, False), (86.0, False)])
def test_a_test_is_held_against_what_was_foreseen_for_its_day(value, inside):
    row = matched(kept_predictions(KEPT), a_test(date(2026, 8, 18), value)).row(0, named=True)  # 7 weeks on
    assert row["expected_cmh2o"] == pytest.approx(66.0) and row["sd_cmh2o"] == pytest.approx(10.0, abs=1e-3)
    assert row["is_inside"] is inside


@pytest.mark.parametrize("on", [date(2026, 6, 30), date(2026, 10, 15)])
def test_a_test_outside_what_was_foreseen_is_not_scored(on):
    assert matched(kept_predictions(KEPT), a_test(on, 66.0)).is_empty()


def test_brier_by_hand():
    """Two foreseen at 0.8 and 0.3, the first happened: (0.04 + 0.09) / 2; the share, 0.5, scores 0.25."""
    assert brier(np.array([0.8, 0.3]), np.array([1.0, 0.0])) == pytest.approx((0.065, 0.25))


def test_scored_reads_first_tests_up_to_the_quarter():
    rows = [{"client_key": "aaaaaaaa", "pressure": "mip", "is_primary": True, "is_baseline": n == 0, "tested_on": d,
             "quarter": q, "value_cmh2o": v} for n, (d, q, v) in enumerate((
                 (date(2026, 3, 1), "2026Q1", 50.0), (date(2026, 8, 18), "2026Q3", 60.0),
                 (date(2026, 9, 18), "2026Q3", 90.0)))]
    found = {f"{r.statistic}[{r.group}]": r for r in scored(("2026Q2", KEPT), {"model": pl.DataFrame(rows)}, Settings(),
                                                            "2026Q3").rows}
    assert found["tested_since[pressure=mip]"].n == 1 and found["inside_pct[pressure=mip]"].hits == 1
    assert found["test_less_expected_cmh2o[pressure=mip]"].value == pytest.approx(-6.0)
    assert found["under_target_since[pressure=mip;state=stalled]"].hits == 1  # 60 is under 50 + 17
    # P(test < 67 | mean 66, SD 10) = 0.5398; it happened
    assert found["brier[pressure=mip]"].value == pytest.approx((1 - 0.5398) ** 2, abs=1e-3)


def states(**by_key: str) -> pl.DataFrame:
    return pl.DataFrame([(k, "mip", s) for k, s in by_key.items()], schema=["client_key", "pressure", "state"],
                        orient="row")


def test_the_ledger_follows_a_client_through_the_quarters():
    found = lines([("2026Q1", states(a="stalled", b="improving")), ("2026Q2", states(a="improving", b="falling")),
                   ("2026Q3", states(a="stalled", b="falling")), ("2026Q4", states(a="improving"))])
    a, b = found
    assert (a.listed, a.taken_off(), a.again()) == (["2026Q1", "2026Q3"], ["2026Q2", "2026Q4"], ["2026Q3"])
    assert [a.standing(q) for q in ("2026Q3", "2026Q4")] == [NOW[3 - 1], NOW[3]]
    assert [b.standing(q) for q in ("2026Q2", "2026Q3", "2026Q4")] == [NOW[0], NOW[1], NOW[4]]


def test_nobody_who_was_never_listed_is_in_the_ledger():
    assert [x.client_key for x in lines([("2026Q1", states(a="improving", b="stalled"))])] == ["b"]
    assert Line("a", "mip", ["2026Q1"], []).again() == []


def test_looks_and_counts_add_up():
    now = ResultSet(tuple(Result("stalled", "worklist", "state", f"{k};pressure=mip", text=s, klass="client")
                          for k, s in (("aaaaaaaa", "stalled"), ("bbbbbbbb", "falling"), ("cccccccc", "improving"))))
    looks = pl.DataFrame([{"client_key": "aaaaaaaa", "reviewed_on": date(2026, 8, 1), "outcome": "plan_changed",
                           "quarter": "2026Q3"}, {"client_key": "aaaaaaaa", "reviewed_on": date(2026, 2, 1),
                                                  "outcome": "plan_kept", "quarter": "2026Q1"}])
    found = ledger([("2026Q2", KEPT)], now, looks, "2026Q3")
    assert broken_sums(found) == []
    rows = {f"{r.statistic}[{r.group}]": r for r in found.rows}
    assert rows["people[pressure=mip]"].n == 2
    assert rows["first_listed[aaaaaaaa;pressure=mip]"].text == "2026Q2"
    assert rows["looked_at_on[aaaaaaaa;pressure=mip]"].text == "2026-08-01: plan changed"
    assert rows["looked_at[pressure=mip]"].hits == 1
