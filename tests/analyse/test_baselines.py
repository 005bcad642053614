"""The contrast of protocols follows how people were assigned; and each handling is right where it is chosen."""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

from pipeline.analyse.baselines import baseline_beside, handling
from pipeline.analyse.design import prepared
from pipeline.analyse.fits import fit_pressure, run
from pipeline.analyse.models import MODELS
from pipeline.settings import Settings
from pipeline.simulate.model_frame import simulate_model_frame

BY_RULE = Settings(rule_uses_measured_value=True)


def people(*assigned):
    return pl.DataFrame({"client_key": [f"p{k}" for k in range(len(assigned))], "assigned_by": list(assigned)},
                        schema={"client_key": pl.String, "assigned_by": pl.String})  # fmt: skip


@pytest.mark.parametrize(("assigned", "settings", "name"), [
    (("clinician", "client_choice"), Settings(), "unconstrained"),
    (("randomised", "randomised"), Settings(), "constrained"),
    (("randomised", "clinician"), Settings(), "unconstrained"),
    (("randomised", None), Settings(), "unconstrained"),
    (("written_rule", "written_rule"), Settings(), "unconstrained"),
    (("written_rule", "written_rule"), BY_RULE, "covariate"),
    (("written_rule", "clinician", None), BY_RULE, "unconstrained"),
    ((), Settings(), "unconstrained"),
])  # fmt: skip
def test_handling_follows_the_assignment(assigned, settings, name):
    found = handling(people(*assigned), settings)
    assert found.name == name and found.why


def test_the_measured_baseline_stands_beside_later_tests():
    rows = pl.DataFrame({"client_key": ["a", "a", "b"], "tested_on": [date(2026, 1, 1), date(2026, 3, 1)] * 1 + [
        date(2026, 3, 1)], "is_baseline": [True, False, False], "value_cmh2o": [50.0, 60.0, 70.0]})  # fmt: skip
    found = baseline_beside(rows)
    assert found.select("client_key", "value_cmh2o", "baseline_cmh2o").rows() == [("a", 60.0, 50.0)]


def by_measured_value(seed, assigned_by="written_rule"):
    """A cohort whose two protocols do the same, given by whether the measured baseline is under 60 cmH2O."""
    frame = simulate_model_frame(300, seed)
    first = frame.filter(pl.col("is_baseline")).select("client_key", pl.col("value_cmh2o").alias("first"))
    draw = np.random.default_rng(seed)
    level = dict(zip(first["client_key"], draw.normal(60, 20, first.height), strict=True))
    slope = dict(zip(first["client_key"], draw.normal(8, 5, first.height), strict=True))
    rise = frame["client_key"].replace_strict(slope) * frame["time12"].clip(0)
    value = frame["client_key"].replace_strict(level) + rise + draw.normal(0, 8, frame.height)
    frame = frame.with_columns(value.clip(5, None).alias("value_cmh2o"))
    first = frame.filter(pl.col("is_baseline")).select("client_key", pl.col("value_cmh2o").alias("first"))
    low = pl.when(pl.col("first") < 60).then(pl.lit("a")).otherwise(pl.lit("b"))
    return frame.join(first, on="client_key").with_columns(low.alias("protocol"),
                                                           pl.lit(assigned_by).alias("assigned_by"))  # fmt: skip


SHORT = MODELS["R2"].without("dose", "effort")
SEEDS = range(20)


def test_a_rule_on_the_measured_value_asks_for_the_covariate():
    """Regression to the mean lifts those chosen for a low value; with the baseline as a covariate it is gone."""
    plain, handled = [], []
    for seed in SEEDS:
        rows = prepared(by_measured_value(seed), "mip")
        assert handling(rows, BY_RULE).name == "covariate"
        one = run("plain", rows, SHORT, BY_RULE)
        two = run("beside", baseline_beside(rows), SHORT.having("baseline", "baseline_slope"), BY_RULE)
        plain.append(one.read(one.look.difference("a", "b", 12.0)).estimate)
        handled.append(two.read(two.look.level_difference("a", "b", 12.0)))
    estimates = np.array([c.estimate for c in handled])
    assert np.mean(plain) > 2.0
    assert abs(estimates.mean()) < 3 * estimates.std(ddof=1) / len(SEEDS) ** 0.5
    assert abs(estimates.mean()) < np.mean(plain) / 2
    assert sum(c.low <= 0.0 <= c.high for c in handled) >= 17  # 95 % of 20, less than 17 once in sixty


def test_the_contrast_is_read_from_the_fit_that_the_assignment_asks_for():
    found = fit_pressure(by_measured_value(1), "mip", BY_RULE)
    assert found.contrast_fit is found.fits["baseline_covariate"]
    weights = found.difference("a", "b", 12.0)
    assert np.array_equal(weights, found.contrast_fit.look.level_difference("a", "b", 12.0))


def test_where_people_were_drawn_by_lot_one_baseline_serves_all_and_is_surer():
    frame = simulate_model_frame(300, 4).with_columns(pl.lit("randomised").alias("assigned_by"))
    found = fit_pressure(frame, "mip", Settings())
    assert found.handling.name == "constrained"
    one = found.contrast_fit.read(found.difference("firm_5x6", "steady_30", 12.0))
    apart = found.working("primary").read(found.working("primary").look.difference("firm_5x6", "steady_30", 12.0))
    assert one.std_error < apart.std_error
    assert one.estimate == pytest.approx(apart.estimate, abs=2 * apart.std_error)
    assert frame["tested_on"].max() - frame["tested_on"].min() > timedelta(weeks=12)
