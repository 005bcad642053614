"""The independent refit by statsmodels: what it says when it agrees, ends short, disagrees, or cannot express it."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from bench.cohort import cohort
from pipeline.analyse.cross_check import cross_check, fit_with_statsmodels, why_not
from pipeline.stats import MixedModel, Varies, fit_mixed
from tests.published.mixed_references import model_of, reference
from tests.published.published_tables import sleep_lines

MODEL = MixedModel("mip_cmh2o", "1 + time12 * protocol", (Varies("client_key", "1 + time12"),))
IN_DAYS = MixedModel("mip_cmh2o", "1 + days * protocol", (Varies("client_key", "1 + days"),))


@pytest.fixture(scope="module")
def rows():
    return cohort(60, seed=5).with_columns(days=pl.col("weeks") * 7.0)


def test_agrees_when_time_is_in_12_week_units(rows):
    found = cross_check(rows, MODEL, fit_mixed(rows, MODEL))
    assert found.verdict == "agree", found.sentence
    assert abs(found.log_likelihood_gap) < 1e-4
    assert found.largest_shift < 0.01


def test_says_that_statsmodels_ended_short_with_time_in_days(rows):
    found = cross_check(rows, IN_DAYS, fit_mixed(rows, IN_DAYS))
    assert found.verdict == "statsmodels worse"
    assert found.log_likelihood_gap > 0.1
    assert "missed the optimum" in found.sentence


def test_says_so_when_our_fit_is_the_worse(rows):
    fit = fit_mixed(rows, MODEL)
    found = cross_check(rows, MODEL, replace(fit, log_likelihood=fit.log_likelihood - 1.0))
    assert found.verdict == "ours worse"
    assert "Do not use this fit" in found.sentence


def test_disagreeing_coefficients_count_too(rows):
    fit = fit_mixed(rows, MODEL)
    moved = fit.mean_terms.with_columns(pl.col("estimate") + pl.col("std_error"))
    found = cross_check(rows, MODEL, replace(fit, mean_terms=moved))
    assert found.verdict == "ours worse"
    assert found.largest_shift == pytest.approx(1.0, abs=0.01)


def test_names_what_mixedlm_cannot_express(rows):
    model = replace(MODEL, varies=(Varies("client_key", "1 + time12"), Varies("site", "1")))
    found = cross_check(rows, model, fit_mixed(rows, model))
    assert found.verdict == "cannot express"
    assert "correlated terms of client_key inside site" in found.sentence
    with pytest.raises(ValueError, match="cannot express correlated terms"):
        fit_with_statsmodels(rows, model)


def test_nested_intercepts_and_uncorrelated_slopes_are_expressed(rows):
    inner = Varies("client_key", "1 + time12", correlated=False)
    model = replace(MODEL, varies=(inner, Varies("site", "1")))
    assert why_not(model) is None
    assert cross_check(rows, model, fit_mixed(rows, model)).verdict == "agree"


def test_the_refit_is_that_of_r():
    """sleepstudy_slope of tests/published/mixed; MixedLM carries 3 to 4 digits in variances."""
    ref, fit = reference("sleepstudy_slope"), fit_with_statsmodels(sleep_lines(), model_of("sleepstudy_slope"))
    assert fit.log_likelihood == pytest.approx(ref["reml_log_likelihood"], abs=1e-5)
    assert fit.covariance("Subject")[1].ravel() == pytest.approx(ref["covariance"]["Subject"]["matrix"], rel=1e-3)
    assert fit.state.startswith("converged")
    assert fit.mean_terms["df"].null_count() == 2


def test_doubt_stands_in_the_state_with_time_in_days(rows):
    assert fit_with_statsmodels(rows, IN_DAYS).state.startswith("doubtful")


def test_a_term_that_follows_from_others_is_left_out(rows):
    doubled = rows.with_columns(again=2.0 * pl.col("time12"))
    model = replace(MODEL, mean="1 + time12 * protocol + again")
    found = cross_check(doubled, model, fit_mixed(doubled, model))
    assert found.verdict == "agree", found.sentence


def test_says_when_statsmodels_breaks_down(rows, monkeypatch):
    from statsmodels.regression.mixed_linear_model import MixedLM

    def broken(*_, **__):
        raise np.linalg.LinAlgError("Singular matrix")

    fit = fit_mixed(rows, MODEL)
    monkeypatch.setattr(MixedLM, "fit", broken)
    found = cross_check(rows, MODEL, fit)
    assert found.verdict == "no answer"
    assert "found no answer" in found.sentence
