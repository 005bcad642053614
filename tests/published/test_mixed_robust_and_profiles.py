"""CR2 standard errors and df against clubSandwich; profile intervals of standard deviations against lme4's confint.

The R command stands above each block of mixed/extras/cr2.toml and profiles.toml. lme4 interpolates its profiles by
splines, so its limits are good to about three digits.
"""

import numpy as np
import polars as pl
import pytest
from numpy.testing import assert_allclose

from pipeline.stats.profiles import profile_intervals
from pipeline.stats.robust import robust_terms
from tests.published.mixed_references import extras, our_fit


def named(blocks):
    return [pytest.param(b, id=b["fit"]) for b in blocks]


@pytest.mark.parametrize("block", named(extras("cr2")))
def test_cr2_is_that_of_clubsandwich(block):
    found = robust_terms(our_fit(block["fit"]))
    assert_allclose(found["std_error"].to_numpy(), block["std_error"], rtol=2e-5)
    assert_allclose(found["df"].to_numpy(), block["df"], rtol=2e-5)


@pytest.mark.parametrize("block", named(extras("profiles")))
def test_profiles_are_those_of_confint(block):
    found = profile_intervals(our_fit(block["fit"], "ml"))
    for name, low, high in zip(block["names"], block["low"], block["high"], strict=True):
        if name == "sigma":
            mine = found.filter(pl.col("grouping") == "residual")
        elif name.startswith("sd_"):
            term, by = name.removeprefix("sd_").replace("(Intercept)", "Intercept").split("|")
            mine = found.filter((pl.col("grouping") == by) & (pl.col("term") == term))
        else:
            continue  # correlations and coefficients are not profiled here
        assert mine.height == 1, (name, found)
        assert_allclose(mine.select("low", "high").row(0), (low, high), rtol=2e-3, atol=1e-3 * high)
        assert np.all(np.isfinite(mine.select("low", "high").row(0)))
