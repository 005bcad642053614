"""Every fit of mixed/*.toml (lme4, lmerTest, pbkrtest; the R command stands above each number) against ours.

Tolerances: log-likelihood 1e-6 absolute; coefficients 1e-7 of the larger of themselves and their standard error;
standard errors and (co)variances 1e-6; Kenward-Roger df 1e-6; Satterthwaite df 1e-5, because lmerTest differentiates
numerically. lme4's optima were tightened by Newton steps (mixed/make_references.R).
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from pipeline.stats import fit_mixed
from tests.published.mixed_frames import frame_of
from tests.published.mixed_references import (
    BOUNDARY,
    INTERIOR,
    NAMES,
    column,
    covariances,
    model_of,
    our_fit,
    reference,
)


def assert_coefficients(ours, theirs, std_error, tolerance=1e-7):
    allowed = tolerance * np.maximum(np.abs(theirs), std_error)
    assert np.all(np.abs(ours - theirs) <= allowed), (ours - theirs) / allowed


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("method", ["reml", "ml"])
def test_log_likelihood_is_that_of_r(name, method):
    ours, theirs = our_fit(name, method).log_likelihood, reference(name)[f"{method}_log_likelihood"]
    assert ours > theirs - 1e-6
    assert ours < theirs + (1e-6 if name in INTERIOR and method == "reml" else 1e-5)  # R's ML is not tightened


@pytest.mark.parametrize("name", INTERIOR)
def test_coefficients_and_standard_errors(name):
    ref, fit = reference(name), our_fit(name, df="satterthwaite")
    assert_coefficients(column(fit, "estimate"), np.array(ref["estimate"]), np.array(ref["std_error"]))
    assert_allclose(column(fit, "std_error"), ref["std_error"], rtol=1e-6)
    assert_allclose(fit.residual_sd, ref["residual_sd"], rtol=1e-6)


@pytest.mark.parametrize("name", INTERIOR)
def test_covariances(name):
    for by, theirs in covariances(name).items():
        ours = our_fit(name).covariance(by)[1]
        scale = np.sqrt(np.diag(theirs))
        assert_allclose(ours / np.outer(scale, scale), theirs / np.outer(scale, scale), atol=1e-6)


@pytest.mark.parametrize("name", INTERIOR)
def test_kenward_roger(name):
    ref, fit = reference(name), our_fit(name)
    assert_allclose(column(fit, "df"), ref["kr_df"], rtol=1e-6)
    assert_allclose(column(fit, "std_error"), ref["kr_std_error"], rtol=1e-6)


@pytest.mark.parametrize("name", INTERIOR)
def test_satterthwaite(name):
    assert_allclose(column(our_fit(name, df="satterthwaite"), "df"), reference(name)["satterthwaite_df"], rtol=1e-5)


@pytest.mark.parametrize("name", NAMES)
def test_ml_coefficients(name):
    ref, fit = reference(name), our_fit(name, "ml", "satterthwaite")
    assert_coefficients(column(fit, "estimate"), np.array(ref["ml_estimate"]), np.array(ref["ml_std_error"]), 1e-5)
    assert_allclose(column(fit, "std_error"), ref["ml_std_error"], rtol=1e-4)


@pytest.mark.parametrize("name", BOUNDARY)
def test_boundary_fit_has_the_mean_and_the_satterthwaite_df_of_lmertest_and_says_so(name):
    ref, fit = reference(name), our_fit(name, df="satterthwaite")
    assert_coefficients(column(fit, "estimate"), np.array(ref["estimate"]), np.array(ref["std_error"]), 1e-5)
    assert_allclose(column(fit, "std_error"), ref["std_error"], rtol=1e-5)
    assert_allclose(column(fit, "df"), ref["satterthwaite_df"], rtol=1e-4)
    assert fit.state_kind == "variance zero"


@pytest.mark.parametrize("name", BOUNDARY)
def test_boundary_kept_has_the_kenward_roger_df_of_pbkrtest(name):
    """pbkrtest keeps the zero variance in its information; ours drops it unless told to keep it."""
    ref = reference(name)
    fit = fit_mixed(frame_of(name, ref["source"]), model_of(name), boundary="keep")
    assert_allclose(column(fit, "df"), ref["kr_df"], rtol=1e-5)
    assert_allclose(column(fit, "std_error"), ref["kr_std_error"], rtol=1e-5)
