"""The primary model finds the truth that made the sample: one joint Wald test for each pressure.

Taken off beforehand is what the model does not claim to know: the learning of first-ever baselines (the true share of
the fixed curve) and the steps of a manometer that was repaired or replaced.
"""

import json
from datetime import date

import numpy as np
import polars as pl
import pytest
from scipy.stats import chi2

from pipeline.analyse.design import prepared
from pipeline.analyse.fits import learned, run
from pipeline.analyse.models import MODELS
from pipeline.settings import Settings
from tests.analyse.conftest import SAMPLE

TRUTH = json.loads((SAMPLE / "truth.json").read_text(encoding="utf-8"))


def nuisance(rows, pressure):
    """Learning and manometer steps of each row, in cmH2O."""
    off = TRUTH[pressure]["learning_share"] * learned(rows)
    for change in TRUTH["gauge_changes"]:
        here = (rows["site"] == change["site"]) & (rows["tested_on"] >= date.fromisoformat(change["on"]))
        off = off + change[f"{pressure}_step_cmh2o"] * here.cast(pl.Float64)
    return off


def weights_and_truth(look, truth):
    """Contrasts of the primary model, each with its true value."""
    gain, gain_more, at_start = truth["gain12"], truth["protocol_gain12"], truth["protocol"]
    first, second, third = "steady_30", "firm_5x6", "ladder_6"
    return [
        (look.term("dose_d"), truth["dose"]),
        (look.term("effort_e"), truth["effort"]),
        (look.term("efforts_more"), truth["per_effort_kept"]),
        (look.term("age_10"), truth["per_decade_age"]),
        (look.term("sex[T.male]"), truth["male"]),
        (look.term("site[T.mill]"), truth["site"]["mill"] - truth["site"]["harbour"]),
        (look.term("site[T.orchard]"), truth["site"]["orchard"] - truth["site"]["harbour"]),
        (look.level_difference(second, first, 0.0), at_start[second] - at_start[first]),
        (look.level_difference(third, first, 0.0), at_start[third] - at_start[first]),
        (look.difference(second, first, 12.0), gain_more[second] - gain_more[first]),
        (look.difference(third, first, 12.0), gain_more[third] - gain_more[first]),
        (look.gain(12.0, first, dose=0.0, effort=0.0), gain),
    ]


def wald_p(fit, pairs):
    weights = np.array([w for w, _ in pairs])
    gap = weights @ fit.beta - np.array([t for _, t in pairs])
    return float(chi2.sf(gap @ np.linalg.solve(weights @ fit.beta_covariance @ weights.T, gap), len(pairs)))


@pytest.fixture(scope="module", params=["mip", "mep"])
def recovered(request, frames):
    rows = prepared(frames["model"], request.param)
    rows = rows.with_columns(value_cmh2o=pl.col("value_cmh2o") - nuisance(rows, request.param))
    return run("primary", rows, MODELS["R1"], Settings()), TRUTH[request.param]


def test_the_truth_is_recovered(recovered):
    fitted, truth = recovered
    assert fitted.works, fitted.state
    assert wald_p(fitted.fit, weights_and_truth(fitted.look, truth)) > 0.001


def test_another_truth_is_refused(recovered):
    """The test can fail: a gain 5 cmH2O larger, and no association with age, lie outside."""
    fitted, truth = recovered
    wrong = truth | {"gain12": truth["gain12"] + 5.0, "per_decade_age": 0.0}
    assert wald_p(fitted.fit, weights_and_truth(fitted.look, wrong)) < 0.001
