"""The measured gain taken apart: on the sample, with steps and rules planted into it."""

from dataclasses import replace

import polars as pl
import pytest

from pipeline.analyse.effects import MeasurementError
from pipeline.analyse.fits import run
from pipeline.analyse.gain_apart import PARTS, gain_apart, remainder
from pipeline.analyse.gain_parts import Part, efforts, instruments, regression
from pipeline.analyse.instrument_watch import across, changes, rows_across
from pipeline.identity.small_cells import broken_sums
from pipeline.results import ResultSet
from pipeline.settings import Settings
from tests.analyse.conftest import QUARTER

ERROR = MeasurementError(8.0, 7.0, 9.0, "planted")


@pytest.fixture(scope="module")
def made(frames, models):
    return gain_apart(frames, Settings(), QUARTER, models)


def of(made, pressure, part):
    return next(r for r in made.rows if r.statistic == "part_cmh2o" and r.group == f"pressure={pressure};part={part}")


@pytest.mark.parametrize("pressure", ["mip", "mep"])
def test_every_part_has_an_ordered_range_its_assumption_and_its_way(made, pressure):
    for name in (*PARTS, "remainder"):
        row = of(made, pressure, name)
        assert row.text and row.n
        assert row.value is None or (row.low <= row.value <= row.high and row.method)


def test_what_is_left_is_the_gain_less_the_parts_at_their_ends(made):
    gain = next(r.value for r in made.rows if r.statistic == "measured_cmh2o" and r.group == "pressure=mip")
    parts, left = [of(made, "mip", name) for name in PARTS], of(made, "mip", "remainder")
    assert left.value == pytest.approx(gain - sum(p.value for p in parts))
    assert left.low == pytest.approx(gain - sum(p.high for p in parts))
    assert left.high == pytest.approx(gain - sum(p.low for p in parts))


def test_a_part_without_a_figure_takes_nothing_off_and_is_named():
    left = remainder(10.0, [Part("learning", None, None, None, "none held"), Part("efforts", 1.0, 2.0, 3.0, "x", "y")])
    assert (left.low, left.middle, left.high) == (7.0, 8.0, 9.0) and "learning" in left.assumes


def test_no_learning_curve_is_held_for_mep(made):
    assert of(made, "mep", "learning").value is None
    assert of(made, "mip", "learning").low == 0.0 < of(made, "mip", "learning").high


def test_the_sums_of_people_add_up_with_the_gains(made, results):
    ours = {r.key for r in made.rows}
    gains = tuple(r for r in results.rows if r.key not in ours)
    assert broken_sums(ResultSet((*gains, *made.rows), made.partitions)) == []


def test_regression_is_none_until_somebody_was_picked_by_the_baseline():
    people = pl.DataFrame({"baseline_cmh2o": [40.0, 45.0, 50.0, 80.0, 90.0, 100.0],
                           "assigned_by": ["written_rule"] * 3 + ["clinician"] * 3})  # fmt: skip
    none = regression(people, "mip", ERROR, Settings())
    assert (none.low, none.middle, none.high) == (0.0, 0.0, 0.0)
    rule = regression(people, "mip", ERROR, Settings(rule_uses_measured_value=True))
    assert rule.low == 0.0 < rule.middle < rule.high
    entry = regression(people.head(3), "mip", ERROR, Settings(entry_below_mip_cmh2o=60.0))
    assert entry.low == 0.0 < entry.middle < entry.high
    near = regression(people.head(3), "mip", ERROR, Settings(entry_below_mip_cmh2o=46.0))
    assert near.middle is None and "too close" in near.assumes


def test_more_efforts_at_the_later_test_are_a_part_of_the_gain(models):
    known = pl.DataFrame({"kept_0": [3, 3], "kept_12": [10, 10], "baseline_cmh2o": [70.0, 70.0]})
    found = efforts(models["mip"], known)
    assert found.low <= (1.53875 - 0.84628) * 0.06 * 70.0 + 1e-4 and found.low > 0
    assert efforts(models["mip"], known.rename({"kept_0": "kept_12", "kept_12": "kept_0"})).high < 0
    assert efforts(models["mip"], known.head(0)).middle is None


def test_a_planted_step_of_a_manometer_comes_back(frames, models):
    """8 cmH2O more on every test after one change: the part grows by 8 times the share tested across it."""
    found, model = models["mip"], models["mip"].fits["as_delivered"]
    people = frames["gains"].filter((pl.col("pressure") == "mip") & pl.col("gain12_cmh2o").is_not_null())
    seen = changes(frames, frames["courses"]["last_on"].max())
    rows, used = rows_across(model, frames, "mip", seen)
    k = max(used, key=lambda k: across(rows, k)[0])
    planted = rows.with_columns(value_cmh2o=pl.col("value_cmh2o") + 8.0 * pl.col(f"after_{k}"))
    again = run("as_delivered", planted.select(model.rows.columns), model.built.recipe, Settings())
    moved = replace(found, fits=found.fits | {"as_delivered": again})
    before, after = (instruments(m, frames, people, seen) for m in (found, moved))
    at = people.select("client_key", "baseline_on", "at12_on")
    marks = rows.select("client_key", "tested_on", f"after_{k}")
    first = at.join(marks, left_on=["client_key", "baseline_on"], right_on=["client_key", "tested_on"])
    both = first.join(marks, left_on=["client_key", "at12_on"], right_on=["client_key", "tested_on"], suffix="_12")
    share = (both[f"after_{k}_12"] - both[f"after_{k}"]).mean()
    assert share > 0.01
    assert after.middle - before.middle == pytest.approx(8.0 * share, rel=0.2)
