"""Contrasts, F tests and predicted random effects against emmeans, pbkrtest, lmerTest and lme4.

The numbers and the R command above each stand in mixed/extras/*.toml, on the fits of mixed/*.toml.
"""

import numpy as np
import polars as pl
import pytest
from numpy.testing import assert_allclose

from pipeline.stats import holm, marginal_means, pairwise, random_effects, tukey_kramer
from tests.published.mixed_frames import frame_of
from tests.published.mixed_references import extras, our_fit, reference


def named(blocks):
    return [pytest.param(b, id=f"{k}-{b['fit']}") for k, b in enumerate(blocks)]


def kr_contrasts(block):
    fit = our_fit(block["fit"])
    return [fit.contrast(np.array(weights, dtype=float)) for weights in block["weights"]]


@pytest.mark.parametrize("block", named(extras("contrasts")))
def test_contrasts_have_emmeans_numbers(block):
    ours = kr_contrasts(block)
    assert_allclose([c.estimate for c in ours], block["estimate"], rtol=1e-6, atol=1e-8)
    assert_allclose([c.std_error for c in ours], block["std_error"], rtol=1e-6)
    assert_allclose([c.df for c in ours], block["df"], rtol=1e-6)
    assert_allclose([c.p for c in ours], block["p"], rtol=1e-5)


@pytest.mark.parametrize("block", named(extras("contrasts")))
def test_adjusted_p_values(block):
    """Holm to 1e-5; emmeans' Tukey p comes from ptukey, which is good to about 1e-5 absolute."""
    ours = kr_contrasts(block)
    if block["adjustment"] == "holm":
        assert_allclose(holm(np.array([c.p for c in ours])), block["p_adjusted"], rtol=1e-5)
    else:
        t, df = np.array([c.estimate / c.std_error for c in ours]), np.array([c.df for c in ours])
        assert_allclose(tukey_kramer(t, df, len({w for c in block["labels"] for w in c.split(" - ")})),
                        block["p_adjusted"], atol=1e-5)  # fmt: skip


@pytest.mark.parametrize("block", named(extras("marginal_means")))
def test_marginal_means_have_emmeans_numbers(block):
    """Adjusted means over equal weights of the other factors' levels, by the function that knows no weights."""
    frame = frame_of(block["fit"], reference(block["fit"])["source"])
    found = marginal_means(our_fit(block["fit"]), frame, block["factor"], at=block.get("at"))
    assert [str(v).removesuffix(".0") for v in found[block["factor"]]] == block["levels"]
    for column in ("estimate", "std_error", "df", "low", "high"):
        assert_allclose(found[column].to_numpy(), block[column], rtol=1e-6)


@pytest.mark.parametrize("block", named([b for b in extras("contrasts") if "factor" in b]))
def test_differences_of_marginal_means_have_emmeans_numbers(block):
    """The recorded contrasts of machines, oats and dietox, from the factor alone: no weight is typed in."""
    frame = frame_of(block["fit"], reference(block["fit"])["source"])
    found = pairwise(our_fit(block["fit"]), frame, block["factor"], along=block.get("along"), at=block.get("at"),
                     adjust=block["adjustment"])  # fmt: skip
    assert_allclose(found["estimate"].to_numpy(), block["estimate"], rtol=1e-6, atol=1e-8)
    assert_allclose(found["std_error"].to_numpy(), block["std_error"], rtol=1e-6)
    assert_allclose(found["df"].to_numpy(), block["df"], rtol=1e-6)
    assert_allclose(found["p_adjusted"].to_numpy(), block["p_adjusted"], rtol=1e-5, atol=1e-5)


@pytest.mark.parametrize("block", named(extras("f_tests")))
def test_joint_tests_have_pbkrtest_numbers(block):
    found = our_fit(block["fit"]).contrast(np.array(block["weights"], dtype=float))
    assert found.df1 == block["numerator_df"]
    assert_allclose(found.df2, block["kr_df"], rtol=1e-6)
    assert_allclose(found.f, block["kr_statistic"], rtol=1e-5)  # pbkrtest's Ftest row is scaled already


@pytest.mark.parametrize("block", named(extras("f_tests")))
def test_joint_tests_have_lmertest_numbers(block):
    found = our_fit(block["fit"], df="satterthwaite").contrast(np.array(block["weights"], dtype=float))
    assert_allclose(found.f, block["satterthwaite_statistic"], rtol=1e-5)
    assert_allclose(found.df2, block["satterthwaite_df"], rtol=1e-4)


@pytest.mark.parametrize("block", named(extras("predictions")))
def test_random_effects_are_those_of_ranef(block):
    fit, names = our_fit(block["fit"]), reference(block["fit"])["covariance"][block["by"]]["names"]
    found = random_effects(fit, block["by"]).with_columns(pl.col(block["by"]).cast(pl.String))
    terms = [name.replace("(Intercept)", "Intercept") for name in names]
    for group, effects, conditional in zip(block["groups"], block["effects"], block["std_errors"], strict=True):
        mine = found.filter(pl.col(block["by"]) == group)
        assert_allclose(mine.select(terms).row(0), effects, atol=1e-5 * fit.residual_sd)
        ours = mine.select([f"std_error({term})" for term in terms]).row(0)
        assert np.all(np.array(ours) > 0.999999 * np.array(conditional))  # ours adds the uncertainty of the mean


def test_prediction_error_of_a_balanced_batch():
    """Dyestuff, exact: tau^2 (1 - k) + k^2 Var(mean) with k = 5 tau^2 / (5 tau^2 + sigma^2) (Searle et al. 1992)."""
    fit = our_fit("dyestuff")
    shrink = 5 * 1764.05 / (5 * 1764.05 + 2451.25)
    expected = np.sqrt(1764.05 * (1 - shrink) + shrink**2 * 11271.5 / 30)
    assert_allclose(random_effects(fit, "Batch")["std_error(Intercept)"].to_numpy(), expected, rtol=1e-6)


def test_every_extra_block_names_a_fit():
    for kind in ("contrasts", "f_tests", "predictions"):
        for block in extras(kind):
            assert reference(block["fit"])["rows"] > 0
