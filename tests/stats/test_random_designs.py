"""A dozen random designs in three units of time: never below brute force, and the same fit whatever the unit.

The full study (200 designs, statsmodels beside) is `python -m tests.studies.designs`; its table is committed.
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from pipeline.stats import fit_mixed
from tests.studies.brute_force import best_log_likelihood
from tests.studies.designs import PER_12_WEEKS, TIME_TERMS, random_design

SEEDS = (0, 4, 5, 6, 9, 10, 13, 16, 19, 22, 25, 27)


@pytest.fixture(scope="module", params=SEEDS)
def fitted(request):
    design = random_design(request.param)
    return design, {unit: fit_mixed(design.in_unit(unit), design.model()) for unit in PER_12_WEEKS}


def test_never_below_the_best_restart_of_brute_force(fitted):
    design, fits = fitted
    best = best_log_likelihood(design)
    for unit, fit in fits.items():
        assert design.adjusted(fit.log_likelihood, unit) > best - 1e-6


def test_days_weeks_and_12_weeks_give_one_fit(fitted):
    design, fits = fitted
    whole = fits["12 weeks"]
    has_time = np.array(["t" in term.split(":") for term in whole.mean_terms["term"]])
    assert has_time.sum() == TIME_TERMS[design.which]
    for unit, fit in fits.items():
        scale = np.where(has_time, PER_12_WEEKS[unit], 1.0)
        for column in ("estimate", "std_error"):
            assert_allclose(fit.mean_terms[column].to_numpy() * scale, whole.mean_terms[column].to_numpy(), rtol=1e-8)
        assert design.adjusted(fit.log_likelihood, unit) == pytest.approx(whole.log_likelihood, abs=1e-8)
        assert fit.state_kind == whole.state_kind
