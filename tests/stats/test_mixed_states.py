"""What the engine says when it cannot fit, and in which of the four states it ends."""

import numpy as np
import polars as pl
import pytest

from pipeline.stats import CannotFit, MixedModel, Varies, fit_mixed
from tests.stats.cohorts import CLIENT_SLOPE, cohort

INTERCEPT = MixedModel("y", "1 + time12", (Varies("client_key"),))
WITH_SITE = MixedModel("y", "1 + time12", (Varies("client_key", "1 + time12"), Varies("site")))


def test_interior_fit_proves_itself():
    fit = fit_mixed(cohort(), CLIENT_SLOPE)
    assert fit.state_kind == "interior"
    assert fit.proof.converged
    assert fit.proof.gradient_norm < 1e-6
    assert fit.proof.smallest_hessian_eigenvalue > 0
    assert fit.proof.restart_agreement < 1e-7


def _no_spread(seed=2):
    """Ten clients whose means are nearer to one another than their rows are: variance between clients 0."""
    draw = np.random.default_rng(seed)
    y = draw.normal(0, 1, (10, 6))
    y -= y.mean(axis=1, keepdims=True)
    return pl.DataFrame({"client_key": np.repeat(np.arange(10), 6), "y": 50 + y.ravel()})


def test_zero_variance_is_dropped_and_said():
    fit = fit_mixed(_no_spread(), MixedModel("y", "1", (Varies("client_key"),)))
    assert fit.state_kind == "variance zero"
    assert "'client_key'" in fit.state and "zero" in fit.state and "dropped" in fit.state
    assert fit.dropped_zero == ("client_key",)
    assert fit.covariance("client_key")[1][0, 0] == 0.0
    assert fit.mean_terms["df"][0] == pytest.approx(59.0)


def test_zero_variance_can_be_kept():
    kept = fit_mixed(_no_spread(), MixedModel("y", "1", (Varies("client_key"),)), boundary="keep")
    assert kept.dropped_zero == () and "kept" in kept.state
    assert kept.mean_terms["df"][0] == pytest.approx(9.0)


def test_stationary_zero_that_is_no_optimum_is_left():
    """theta = 0 has gradient 0 everywhere; a small real variance must still be found (NIST SiRstv is such a case)."""
    from pipeline.stats.optimum import walk

    draw = np.random.default_rng(7)
    y = draw.normal(0, 0.35, (25, 1)) + draw.normal(0, 1, (25, 5))
    frame = pl.DataFrame({"client_key": np.repeat(np.arange(25), 5), "y": y.ravel()})
    fit = fit_mixed(frame, MixedModel("y", "1", (Varies("client_key"),)))
    sums, shape = fit.solved.sums, fit.solved.shape
    from_zero = walk(sums, shape, True, np.zeros(1))
    between, within = 5 * y.mean(axis=1).var(ddof=1), y.var(axis=1, ddof=1).mean()
    assert between > within
    assert abs(from_zero.theta[0]) == pytest.approx(np.sqrt((between - within) / 5 / within), rel=1e-8)


def test_aliased_terms_are_named_and_get_no_estimate():
    frame = cohort().with_columns(again=pl.col("time12") * 3.0 + 2.0)
    fit = fit_mixed(frame, MixedModel("y", "1 + time12 + again + adherence", (Varies("client_key", "1 + time12"),)))
    assert fit.state_kind == "not identified"
    assert "'again'" in fit.state
    assert fit.mean_terms.filter(term="again")["estimate"][0] is None
    without = fit_mixed(frame, MixedModel("y", "1 + time12 + adherence", (Varies("client_key", "1 + time12"),)))
    assert fit.log_likelihood == pytest.approx(without.log_likelihood, abs=1e-9)
    with pytest.raises(CannotFit, match="again"):
        fit.contrast({"again": 1.0})


def _high(then):
    return pl.when(pl.col("y") > 90).then(then).otherwise("y")


@pytest.mark.parametrize(
    ("change", "model", "says"),
    [
        (lambda f: f.unique("client_key", keep="first", maintain_order=True), INTERCEPT, "All 30 groups .* one row"),
        (lambda f: f.with_columns(y=pl.lit(5.0)), INTERCEPT, "same value in all"),
        (lambda f: f.with_columns(y=2.0 + 3.0 * pl.col("time12")), INTERCEPT, "exactly"),
        (
            lambda f: f.with_columns(y=pl.when(pl.col("y") > 90).then(np.inf).otherwise("y")),
            INTERCEPT,
            "'y' is infinite in",
        ),
        (
            lambda f: f.with_columns(y=pl.when(pl.col("y") > 90).then(None).otherwise("y")),
            INTERCEPT,
            "'y' is missing in",
        ),
        (
            lambda f: f.with_columns(y=pl.when(pl.col("y") > 90).then(np.nan).otherwise("y")),
            INTERCEPT,
            "'y' is missing in",
        ),
        (lambda f: f.with_columns(site=pl.lit("a")), WITH_SITE, "only one 'site'"),
        (lambda f: f.filter(client_key="c0003"), INTERCEPT, "only one 'client_key'"),
        (lambda f: f.rename({"time12": "time"}), INTERCEPT, "no column 'time12'.*did you mean 'time'"),
        (lambda f: f.clear(), INTERCEPT, "no rows"),
        (lambda f: f.with_columns(time12=pl.lit(1.0)), CLIENT_SLOPE, "random term 'time12'"),
        (lambda f: f.with_columns(pl.col("y").cast(pl.String)), INTERCEPT, "not a number"),
        (lambda f: f.with_columns(site="client_key"), WITH_SITE, "cannot be told apart"),
    ],
)
def test_what_cannot_be_fitted_gets_a_plain_sentence(change, model, says):
    with pytest.raises(CannotFit, match=says) as raised:
        fit_mixed(change(cohort()), model)
    assert str(raised.value)[-1] in ".?"


@pytest.mark.parametrize(
    ("mean", "varies", "says"),
    [
        ("1 + np.log(time12 - time12)", "1", "missing or infinite"),
        ("1 + (time12", "1", "cannot be read"),
        ("1 + C(client_key)", "1", "cannot be told apart"),
        ("1 + time12", "1 + time12 + I(2 * time12)", "random term"),
        ("1 + nosuch(time12)", "1", "no column 'nosuch'"),
        ("1 + np.nosuch(time12)", "1", "cannot be worked out"),
    ],
)
def test_formulas_that_cannot_be_fitted_are_named(mean, varies, says):
    with pytest.raises(CannotFit, match=says):
        fit_mixed(cohort(), MixedModel("y", mean, (Varies("client_key", varies),)))


def test_more_terms_than_rows_and_too_many_groupings():
    two_rows = cohort().unique("client_key", keep="first", maintain_order=True).head(2)
    with pytest.raises(CannotFit, match="2 rows cannot carry 2 terms"):
        fit_mixed(two_rows, INTERCEPT)
    with pytest.raises(CannotFit, match="groupings"):
        MixedModel("y", "1", (Varies("a"), Varies("b"), Varies("c")))


def test_two_tests_per_client_at_the_same_times_cannot_carry_a_slope():
    frame = pl.DataFrame(
        {
            "client_key": np.repeat(np.arange(20), 2),
            "time12": [0.0, 1.0] * 20,
            "y": np.random.default_rng(1).normal(size=40),
        }
    )
    with pytest.raises(CannotFit, match="2 rows or fewer"):
        fit_mixed(frame, MixedModel("y", "1 + time12", (Varies("client_key", "1 + time12"),)))
