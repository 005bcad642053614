"""The delta formula against brute force: impute what the people not retested would have shown, refit, compare."""

import numpy as np
import polars as pl
import pytest

from pipeline.analyse.choice import DIFFERENCE, GAIN, Target
from pipeline.analyse.design import prepared, with_time
from pipeline.analyse.dropout import BETTER, BOTH, Lost, lost, share_that_tips, shift, tip, with_missing_time
from pipeline.analyse.fits import PressureModels, run
from pipeline.analyse.models import MODELS
from pipeline.settings import Settings
from pipeline.simulate.model_frame import simulate_model_frame
from pipeline.stats import Contrast, MixedModel, Varies, fit_mixed, predict

SETTINGS = Settings()
VISITS = (0.0, 4.0, 8.0, 12.0)
DELTA = 9.0
NAN = float("nan")


def planned_visits(seed=3, n=80):
    """Two protocols, tests at weeks 0, 4, 8 and 12, people who leave for good after any of them, by what was seen."""
    draw, rows = np.random.default_rng(seed), []
    for k in range(n):
        protocol, level, slope = ("a", "b")[k % 2], draw.normal(60, 15), draw.normal(6 if k % 2 else 12, 6)
        for week in VISITS:
            value = level + slope * week / 12 + draw.normal(0, 6)
            rows.append((f"p{k:03d}", protocol, week, value))
            if draw.random() < 0.12 + 0.1 * (value < 55):
                break
    frame = pl.DataFrame(rows, schema=["client_key", "protocol", "week", "y"], orient="row")
    return frame.with_columns((pl.col("week") / 12).alias("time12"), pl.col("week").cast(pl.String).alias("visit"))


def imputed(fit, frame, delta, outcome="y"):
    """The frame with every visit that was missed, as the model expects it less delta per 12 weeks after the last."""
    last = frame.group_by("client_key").agg(pl.col("week").max().alias("last"))
    grid = frame.unique("client_key", keep="last", maintain_order=True).drop("week").join(
        pl.DataFrame({"week": list(VISITS)}), how="cross").join(last, on="client_key")  # fmt: skip
    grid = grid.filter(pl.col("week") > pl.col("last")).with_columns(
        (pl.col("week") / 12).alias("time12"), pl.col("week").cast(pl.String).alias("visit")).sort("client_key", "week")
    expected = predict(fit, grid, parameter_uncertainty=False)["estimate"]
    made = grid.with_columns((expected - delta * (pl.col("week") - pl.col("last")) / 12).alias(outcome))
    return pl.concat([frame, made.select(frame.columns)]).sort("client_key", "week")


def test_with_planned_visits_the_formula_is_exact():
    """Every visit of every protocol has a mean of its own: after imputation the estimates are plain means of visits,
    and the difference at week 12 has moved by delta times the difference of the mean missing times, to rounding."""
    frame = planned_visits()
    model = MixedModel("y", "0 + visit:protocol", (Varies("client_key", "1 + time12"),))
    fit = fit_mixed(frame, model)

    def difference(one):
        terms = dict(zip(one.mean_terms["term"], one.mean_terms["estimate"], strict=True))
        return sum(sign * value for name, value in terms.items() for week, protocol, sign in
                   (("12.0", "[a]", 1), ("0.0", "[a]", -1), ("12.0", "[b]", -1), ("0.0", "[b]", 1))
                   if f"[{week}]" in name and name.endswith(protocol))  # fmt: skip

    as_expected, fallen = (difference(fit_mixed(imputed(fit, frame, delta), model)) for delta in (0.0, DELTA))
    gone = lost(frame, SETTINGS)
    by_formula = DELTA * shift(gone, Target(DIFFERENCE, "a", "b"), None)
    assert difference(fit) == pytest.approx(as_expected, abs=1e-6)  # missing at random: nothing new is learned
    assert abs(by_formula) > 0.3
    assert fallen - as_expected == pytest.approx(by_formula, abs=1e-6)


@pytest.mark.parametrize("seed", [2, 3])
def test_with_the_primary_curve_and_tests_at_odd_times_it_is_close(seed):
    """The spline shares its shape among people and the visits are not planned: within a sixth of the shift."""
    rows = prepared(simulate_model_frame(300, seed), "mip")
    rows = rows.filter((pl.col("client_key").rank("dense") % 3 != 0) | (pl.col("week") < 6 + pl.col("age_10")))
    recipe = MODELS["R1"].without("dose", "effort")
    fit = run("as_delivered", rows, recipe, SETTINGS)
    pairs = [("firm_5x6", "ladder_6"), ("firm_5x6", "steady_30")]
    gone = lost(rows, SETTINGS)
    last = rows.sort("client_key", "week").group_by("client_key", maintain_order=True).last()
    ahead = last.filter(pl.col("week") < SETTINGS.window_12_low_weeks).with_columns(last=pl.col("week"))
    grid = pl.concat([ahead.with_columns(pl.lit(w).alias("week")) for w in (4.0, 8.0, 12.0)])
    grid = grid.filter(pl.col("week") > pl.col("last")).with_columns(
        (pl.col("week") / 12).alias("time12"), pl.lit(False).alias("is_baseline"))  # fmt: skip
    expected = predict(fit.fit, with_time(grid, fit.built.form), parameter_uncertainty=False)["estimate"]
    answers = []
    for delta in (0.0, DELTA):
        more = grid.with_columns((expected - delta * (pl.col("week") - pl.col("last")) / 12).alias("value_cmh2o"))
        again = run("again", pl.concat([rows, more.select(rows.columns)]).sort("client_key", "week"), recipe, SETTINGS)
        answers.append([again.read(w).estimate for w in (
            again.look.gain(12.0), *(again.look.difference(a, b, 12.0) for a, b in pairs))])  # fmt: skip
    moved = np.subtract(answers[1], answers[0])
    formula = DELTA * np.array([shift(gone, t, fit) for t in (Target(GAIN), *(Target(DIFFERENCE, a, b)
                                                                              for a, b in pairs))])  # fmt: skip
    assert moved[0] == pytest.approx(formula[0], rel=1 / 6)
    assert np.abs(moved[1:] - formula[1:]).max() < abs(formula[0]) / 6


def test_missing_time_by_hand():
    rows = pl.DataFrame({"client_key": ["a", "a", "b", "c", "c"], "protocol": ["x"] * 5,
                         "time12": [0.0, 0.5, 0.0, 0.0, 0.9]})  # fmt: skip
    people = with_missing_time(rows, SETTINGS)
    assert people["is_lost"].to_list() == [True, True, False]  # week 10.8 lies in the window
    assert people["lost"].to_list() == [0.5, 1.0, 0.0]
    gone = lost(rows, SETTINGS)
    assert gone.missing["x"] == pytest.approx(0.5) and gone.per_person(("x",)) == pytest.approx(0.75)


GONE = Lost({"a": 100, "b": 50}, {"a": 20, "b": 5}, {"a": 0.1, "b": 0.04})
PAIR = Target(DIFFERENCE, "a", "b")


def test_tipping_points_by_hand():
    """Difference 3 (1 to 5). Both lose: it falls by 0.06 per unit of delta; only the better (a): by 0.1. A person of a
    who is not retested misses 0.5 units on average, of both 12/25."""
    answer = Contrast(3.0, 1.0, 99.0, 1.0, 5.0, NAN, NAN)
    both, better = (tip(GONE, PAIR, None, answer, who) for who in (BOTH, BETTER))
    assert (both.to_nothing, both.to_doubt, both.per_person) == pytest.approx((50.0, 1 / 0.06, 0.48))
    assert (better.to_nothing, better.to_doubt, better.per_person) == pytest.approx((30.0, 10.0, 0.5))


def test_where_the_other_protocol_is_better_its_people_lose():
    answer = Contrast(-3.0, 1.0, 99.0, -5.0, -1.0, NAN, NAN)
    assert tip(GONE, PAIR, None, answer, BOTH).to_nothing is None  # more are lost in a: the difference widens
    better = tip(GONE, PAIR, None, answer, BETTER)
    assert (better.to_nothing, better.to_doubt) == pytest.approx((3.0 / 0.04, 1.0 / 0.04))


def test_an_interval_that_holds_0_has_no_doubt_to_come():
    answer = Contrast(1.0, 1.0, 99.0, -1.0, 3.0, NAN, NAN)
    assert tip(GONE, PAIR, None, answer, BETTER).to_doubt is None


def at(estimate):
    return Contrast(estimate, 1.0, 99.0, estimate - 1.0, estimate + 1.0, NAN, NAN)


def test_the_share_that_tips_lies_on_the_line_between_refits():
    answers = [(0.0, at(3.0)), (50.0, at(2.0)), (100.0, at(-2.0))]
    assert share_that_tips(answers, to_doubt=False) == pytest.approx(75.0)
    assert share_that_tips(answers, to_doubt=True) == pytest.approx(50.0 + 50.0 * 1.0 / 4.0)
    turned = [(s, at(-c.estimate)) for s, c in answers]
    assert share_that_tips(turned, to_doubt=False) == pytest.approx(75.0)


def test_no_share_or_none_needed():
    assert share_that_tips([(0.0, at(3.0)), (100.0, at(2.5))], to_doubt=False) is None
    assert share_that_tips([(0.0, at(0.5)), (100.0, at(2.5))], to_doubt=True) == 0.0
    assert share_that_tips([(0.0, None), (100.0, None)], to_doubt=True) is None


def test_without_a_gate_there_is_nothing_to_tip():
    from pipeline.analyse.tipping import tipping
    said = tipping({"mip": PressureModels("mip", pl.DataFrame(), None)}, SETTINGS)
    assert [r.statistic for r in said.rows] == ["state"]
