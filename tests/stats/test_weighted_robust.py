"""Robust contrasts of weighted fits: CR2 with equal weights, no bias were V right, and the interval's coverage."""

import numpy as np
import polars as pl
import pytest

from pipeline.stats import CannotFit, MixedModel, Varies, fit_mixed, robust_contrast
from pipeline.stats.weighted_robust import weighted_robust
from tests.stats.cohorts import CLIENT_SLOPE, cohort

SIMPLE = MixedModel("y", "1 + time12 + adherence", (Varies("client_key", "1 + time12"),))


def weighted(frame, model, seed=0, low=0.3, high=4.0):
    draw = np.random.default_rng(seed)
    keys = frame["client_key"].unique().sort()
    return fit_mixed(frame, model, weights=dict(zip(keys, draw.uniform(low, high, len(keys)), strict=True)))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_equal_weights_give_cr2(seed):
    """Up to the root that is taken: within a thousandth of the standard error, and the same df."""
    frame = cohort(40, seed)
    same = weighted(frame, CLIENT_SLOPE, low=1.0, high=1.0)
    made = weighted_robust(same)
    for j in range(len(same.terms)):
        row = np.eye(len(same.terms))[j]
        ours, cr2 = made.read(row), robust_contrast(fit_mixed(frame, CLIENT_SLOPE), row)
        assert ours.estimate == pytest.approx(cr2.estimate, rel=1e-9)
        assert ours.std_error == pytest.approx(cr2.std_error, rel=2e-3)
        assert ours.df == pytest.approx(cr2.df, rel=1e-3)


def test_the_estimate_is_that_of_the_weighted_fit():
    fit = weighted(cohort(30, 4), SIMPLE)
    made = weighted_robust(fit)
    assert [made.read(np.eye(3)[j]).estimate for j in range(3)] == pytest.approx(list(fit.beta), rel=1e-9)


@pytest.mark.parametrize("seed", [5, 6])
def test_were_v_right_the_variance_has_no_bias(seed):
    """The expected variance is the sum over people of its parts; it is that of a weighted sum under V."""
    made = weighted_robust(weighted(cohort(35, seed), SIMPLE, seed))
    for j in range(3):
        row = np.eye(3)[j]
        assert np.trace(made.spread(row)) == pytest.approx(row @ made.bread @ made.middle @ made.bread @ row, rel=1e-9)


def test_weights_of_whole_numbers_are_copies_but_not_more_people():
    """Weight 2 fits as the person twice; the standard error stays that of the people there are."""
    frame = cohort(24, 7)
    keys = frame["client_key"].unique().sort().to_list()
    twice = fit_mixed(frame, SIMPLE, weights=dict.fromkeys(keys, 2.0))
    once = weighted_robust(fit_mixed(frame, SIMPLE, weights=dict.fromkeys(keys, 1.0)))
    row = np.array([0.0, 1.0, 0.0])
    copies = pl.concat([frame, frame.with_columns(pl.col("client_key") + "x")])
    assert twice.beta == pytest.approx(fit_mixed(copies, SIMPLE).beta, rel=1e-6)
    assert weighted_robust(twice).read(row).std_error == pytest.approx(once.read(row).std_error, rel=0.02)


def test_intervals_hold_the_truth_as_often_as_they_say():
    """Weights that follow a covariate, 200 cohorts of 40: 95 % within three binomial standard errors."""
    model = MixedModel("y", "1 + time12 * protocol + adherence", (Varies("client_key", "1 + time12"),))
    hits = []
    for seed in range(200):
        frame = cohort(40, 1000 + seed, site_sd=0.0).with_columns(
            (pl.col("adherence").first().over("client_key") * 3 + 0.2).alias("w"))
        fit = fit_mixed(frame, model, weights="w")
        found = weighted_robust(fit).read(np.array([float(t == "time12:protocol[T.b]") for t in fit.terms]))
        hits.append(found.low <= 3.0 <= found.high)
    assert np.mean(hits) == pytest.approx(0.95, abs=3 * np.sqrt(0.95 * 0.05 / 200))


def test_two_groupings_are_refused():
    frame = cohort(40, 8)
    model = MixedModel("y", "1 + time12", (Varies("client_key", "1"), Varies("site", "1")))
    with pytest.raises(CannotFit):
        weighted_robust(fit_mixed(frame, model))
