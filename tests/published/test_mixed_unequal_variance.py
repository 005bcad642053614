"""Residual variance by group (varIdent) and as a power of the fitted level (varPower) against nlme's lme.

The R command stands above each block of mixed/extras/variance_models.toml. lme alternates between fit and weights, with
its own tolerances, so parameters agree to three or four digits; its varPower fixes the fitted levels in each round.
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from pipeline.stats.unequal import fit_by_group, fit_by_power
from tests.published.mixed_frames import frame_of
from tests.published.mixed_references import extras, model_of, reference

BLOCKS = extras("variance_models")
BY_GROUP = [b for b in BLOCKS if b["names_of_variance"] != ["power"]]
BY_POWER = [b for b in BLOCKS if b["names_of_variance"] == ["power"]]
GROUPING = {"orthodont_sex": "Sex", "bodyweight": "Diet", "rat_pups": "Treatment"}


def rows_of(name):
    return frame_of(name, reference(name)["source"])


def named(blocks):
    return [pytest.param(b, id=b["fit"]) for b in blocks]


def assert_like_lme(found, block):
    fit = found.fit
    assert fit.log_likelihood == pytest.approx(block["reml_log_likelihood"], abs=5e-4)
    assert found.statistic == pytest.approx(block["likelihood_ratio"], abs=1e-3)
    assert_allclose(fit.mean_terms["estimate"].to_numpy(), block["estimate"], atol=2e-4 * np.max(block["std_error"]))
    size = int(np.sqrt(len(block["covariance"])))
    theirs = np.reshape(block["covariance"], (size, size))
    scale = np.sqrt(np.diag(theirs))
    assert_allclose(fit.covariance(fit.model.varies[0].by)[1] / np.outer(scale, scale),
                    theirs / np.outer(scale, scale), atol=2e-3)  # fmt: skip


@pytest.mark.parametrize("block", named(BY_GROUP))
def test_residual_sd_by_group(block):
    by = GROUPING[block["fit"]]
    found = fit_by_group(rows_of(block["fit"]), model_of(block["fit"]), by)
    assert_like_lme(found, block)
    ours = dict(zip(found.parameters[by], found.parameters["residual_sd"], strict=True))
    for level, relative in zip(block["names_of_variance"], block["coefficients_of_variance"], strict=True):
        assert ours.pop(level) == pytest.approx(relative * block["residual_sd"], rel=1e-3)
    assert list(ours.values()) == [pytest.approx(block["residual_sd"], rel=1e-3)]


@pytest.mark.parametrize("block", named(BY_POWER))
def test_residual_sd_as_a_power_of_the_level(block):
    found = fit_by_power(rows_of(block["fit"]), model_of(block["fit"]))
    assert found.parameters["power"].item() == pytest.approx(block["coefficients_of_variance"][0], rel=5e-3)
    assert_like_lme(found, block)
