"""Balanced designs whose REML answer is arithmetic (analysis of variance), to nine digits."""

import numpy as np
import pytest

from pipeline.stats import MixedModel, Varies, fit_mixed
from tests.published.mixed_references import our_fit
from tests.published.published_tables import DYESTUFF, DYESTUFF2, batches


def test_dyestuff_is_its_analysis_of_variance():
    """Davies and Goldsmith (1972), table 6.2: mean squares 11271.5 between (5 df) and 2451.25 within (24 df)."""
    yields = np.array(list(DYESTUFF.values()), dtype=float)
    within = yields.var(axis=1, ddof=1).mean()
    between = 5 * yields.mean(axis=1).var(ddof=1)
    assert (between, within) == (pytest.approx(11271.5), pytest.approx(2451.25))
    fit = our_fit("dyestuff")
    assert fit.residual_sd**2 == pytest.approx(within, rel=1e-9)
    assert fit.covariance("Batch")[1].item() == pytest.approx((between - within) / 5, rel=1e-9)
    assert fit.mean_terms["std_error"].item() == pytest.approx(np.sqrt(between / 30), rel=1e-9)
    assert fit.mean_terms["df"].item() == pytest.approx(5, rel=1e-9)


def test_pastes_is_its_nested_analysis_of_variance():
    """Davies and Goldsmith (1972), table 6.3: batches, casks within batches, two tests a cask."""
    fit = our_fit("pastes3")
    assert fit.residual_sd**2 == pytest.approx(0.678, rel=1e-9)
    assert fit.covariance("sample")[1].item() == pytest.approx(8.43366666667, rel=1e-9)
    assert fit.covariance("batch")[1].item() == pytest.approx(1.65730864198, rel=1e-9)
    assert fit.mean_terms["std_error"].item() == pytest.approx(0.676870066128, rel=1e-9)
    assert fit.mean_terms["df"].item() == pytest.approx(9, rel=1e-9)


def test_dyestuff2_has_no_batch_variance():
    """Box and Tiao (1973): the batch means vary less than chance allows, so its variance is exactly zero."""
    fit = our_fit("dyestuff2")
    assert fit.covariance("Batch")[1].item() == 0.0
    assert fit.residual_sd == pytest.approx(3.715684274, rel=1e-9)
    assert fit.state_kind == "variance zero"


def test_random_intercept_on_balanced_rows_gives_the_within_slope():
    """Balanced days: the slope is the within-subject estimator whatever the intercept variance, on 161 df."""
    fit = our_fit("sleepstudy_intercept")
    slope = fit.mean_terms.row(1, named=True)
    assert slope["estimate"] == pytest.approx(10.46728596, rel=1e-9)
    assert slope["df"] == pytest.approx(161, rel=1e-9)


def test_dyestuff2_with_its_zero_variance_kept_has_the_df_of_pbkrtest():
    """R> summary(lmer(Yield ~ 1 + (1 | Batch), Dyestuff2), ddf = "Kenward-Roger"): df 5; dropped, it has 29."""
    frame = batches(DYESTUFF2)
    model = MixedModel("Yield", "1", (Varies("Batch"),))
    assert fit_mixed(frame, model, boundary="keep").mean_terms["df"].item() == pytest.approx(5.0, rel=1e-8)
    assert fit_mixed(frame, model).mean_terms["df"].item() == pytest.approx(29.0, rel=1e-8)
