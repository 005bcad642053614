"""Refits with the variances held: the full fit itself, and close to refits that move the variances too."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from pipeline.stats import CannotFit, MixedModel, Varies, cluster_bootstrap, fit_mixed
from pipeline.stats.held import held, held_draws
from pipeline.stats.refit import refitter
from tests.published.mixed_references import our_fit


@pytest.fixture(scope="module")
def fit():
    return our_fit("dietox_slope")


def test_with_the_weights_of_the_fit_it_is_the_fit(fit):
    made = held(fit)
    assert_allclose(made.beta(made.weight), fit.beta, rtol=1e-10, atol=1e-10)


def test_without_a_group_is_least_squares_under_the_held_v(fit):
    """Brute force: V of every other group written out, generalised least squares."""
    keys, psi = fit.rows.inner_keys, fit.covariance(fit.model.varies[0].by)[1]
    x, y, z, of = fit.rows.x.values, fit.rows.y, fit.rows.z.values, fit.rows.inner_of
    for gone in (0, len(keys) // 2):
        gram, cross = np.zeros((x.shape[1],) * 2), np.zeros(x.shape[1])
        for k in range(len(keys)):
            if k != gone:
                mine = of == k
                v = z[mine] @ psi @ z[mine].T + fit.residual_sd**2 * np.eye(mine.sum())
                gram += x[mine].T @ np.linalg.solve(v, x[mine])
                cross += x[mine].T @ np.linalg.solve(v, y[mine])
        assert_allclose(held(fit).without_each()[gone], np.linalg.solve(gram, cross), rtol=1e-8)


def test_without_each_is_near_the_whole_refit(fit):
    """The variances move a little when one group leaves; the mean hardly: under a twentieth of a standard error."""
    quick, slow = held(fit).without_each(), refitter(fit)
    errors = np.sqrt(np.diag(fit.beta_covariance))
    for k in range(len(quick)):
        assert np.abs(quick[k] - slow.without(k).beta).max() < 0.05 * errors.max()


def test_draws_are_those_of_the_whole_bootstrap(fit):
    quick = held_draws(fit, 11, 40)
    slow = cluster_bootstrap(fit, 11, 40)
    errors = np.sqrt(np.diag(fit.beta_covariance))
    assert (np.abs(quick - slow.beta) / errors).max() < 0.2
    assert_allclose(quick.std(axis=0), slow.beta.std(axis=0), rtol=0.05)
    assert_allclose(quick, held_draws(fit, 11, 40))


def test_two_groupings_are_refused():
    with pytest.raises(CannotFit, match="two groupings"):
        held(our_fit("pastes3"))


def test_a_draw_that_cannot_carry_the_mean_is_nan():
    import polars as pl
    frame = pl.DataFrame({"g": [1, 1, 2, 2, 3, 3, 4, 4], "t": [0.0, 1.0] * 4, "a": ["x"] * 6 + ["y"] * 2,
                          "y": [1.0, 2.0, 2.0, 3.5, 0.5, 1.9, 3.0, 4.4]})  # fmt: skip
    made = held(fit_mixed(frame, MixedModel("y", "1 + t + a", (Varies("g"),))))
    assert np.isnan(made.beta(np.array([1.0, 1.0, 1.0, 0.0]))).all()
