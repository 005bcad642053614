"""Errors, degrees of freedom and power of a design before any outcome, against dense algebra, fits and closed forms."""

from math import inf, sqrt

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import nct

from pipeline.stats import MixedModel, Varies, fit_mixed
from pipeline.stats.planned import errors_to_detect, planned, power_of


def two_groups(people, weeks):
    """Rows, X (level and slope by group), Z and starts: `people` in each of two groups, all tested at `weeks`."""
    t = np.tile(np.asarray(weeks) / 12.0, 2 * people)
    who = np.repeat(np.arange(2 * people), len(weeks))
    arm = (who >= people).astype(float)
    x = np.column_stack([np.ones_like(t), t, arm, arm * t])
    return who, x, x[:, :2], np.arange(0, len(t), len(weeks))


def ragged(seed=3):
    rng = np.random.default_rng(seed)
    counts = rng.integers(1, 7, 30)
    who = np.repeat(np.arange(30), counts)
    t = np.concatenate([np.sort(rng.uniform(0, 2, c)) for c in counts])
    arm = (who % 2).astype(float)
    x = np.column_stack([np.ones_like(t), t, arm, arm * t, rng.standard_normal(30)[who]])
    return who, x, x[:, :2], np.flatnonzero(np.append(True, np.diff(who) > 0))


PSI = np.array([[300.0, -20.0], [-20.0, 49.0]])


def test_sums_are_those_of_the_whole_matrices():
    who, x, z, starts = ragged()
    same = who[:, None] == who
    v = same * (z @ PSI @ z.T) + 64.0 * np.eye(len(who))
    steps = [same * np.outer(z[:, 0], z[:, 0]), same * (np.outer(z[:, 1], z[:, 0]) + np.outer(z[:, 0], z[:, 1])),
             same * np.outer(z[:, 1], z[:, 1]), np.eye(len(who))]  # fmt: skip
    inverse = np.linalg.inv(v)
    phi = np.linalg.inv(x.T @ inverse @ x)
    p = inverse - inverse @ x @ phi @ x.T @ inverse
    information = 0.5 * np.array([[np.trace(p @ a @ p @ b) for b in steps] for a in steps])
    c = np.array([0.0, 0.0, 0.0, 1.0, 0.0])
    g = np.array([c @ phi @ x.T @ inverse @ a @ inverse @ x @ phi @ c for a in steps])
    w = np.linalg.inv(information)
    first = [x.T @ inverse @ a @ inverse @ x for a in steps]
    more = sum(
        w[k, m] * (x.T @ inverse @ steps[k] @ inverse @ steps[m] @ inverse @ x - first[k] @ phi @ first[m])
        for k in range(4) for m in range(4)
    )
    found = planned(x, z, starts, PSI, 8.0)
    np.testing.assert_allclose(found.covariance, phi, rtol=1e-8)
    np.testing.assert_allclose(found.adjusted, phi + 2 * phi @ more @ phi, rtol=1e-7)
    assert found.df(c) == pytest.approx(2 * (c @ phi @ c) ** 2 / (g @ w @ g), rel=1e-7)


def test_a_fit_whose_estimates_are_the_assumed_values_says_the_same():
    who, x, z, starts = ragged(5)
    rng = np.random.default_rng(1)
    y = 60 + rng.multivariate_normal([0, 0], PSI, 30)[who] @ np.array([1, 0]) + 8 * rng.standard_normal(len(who))
    y = y + z[:, 1] * 7 * rng.standard_normal(30)[who]
    rows = pl.DataFrame({"who": who, "t": x[:, 1], "arm": x[:, 2], "more": x[:, 4], "y": y})
    fit = fit_mixed(rows, MixedModel("y", "1 + t * arm + more", (Varies("who", "1 + t"),)))
    assert fit.state_kind == "interior"
    psi = fit.covariance("who")[1]
    names = {n: k for k, n in enumerate(fit.terms)}
    order = [names[n] for n in ("Intercept", "t", "arm", "t:arm", "more")]
    found = planned(x, z, starts, psi, fit.residual_sd)
    for k, place in enumerate(order):
        weights, ours = np.eye(5)[place], np.eye(5)[k]
        said = fit.contrast(weights)
        assert found.error(ours) == pytest.approx(said.std_error, rel=1e-5)
        assert found.df(ours) == pytest.approx(said.df, rel=1e-4)


@pytest.mark.parametrize(("people", "weeks"), [(6, (0, 4, 8, 12)), (20, (0, 12)), (15, (0, 3, 6, 12, 24))])
def test_balanced_slopes_are_a_two_sample_t_test(people, weeks):
    """Everybody tested at the same weeks: the slopes' difference has df 2n - 2 and variance 2 (psi + s^2 / Sxx) / n."""
    _, x, z, starts = two_groups(people, weeks)
    found, c = planned(x, z, starts, PSI, 8.0), np.array([0.0, 0.0, 0.0, 1.0])
    t = np.asarray(weeks) / 12.0
    error = sqrt(2 * (PSI[1, 1] + 64.0 / ((t - t.mean()) ** 2).sum()) / people)
    if len(weeks) > 2:  # with two tests each, slopes and errors cannot be told apart: their sum can
        assert found.df(c) == pytest.approx(2 * people - 2, rel=1e-6)
    assert found.error(c) == pytest.approx(error, rel=1e-8)


@given(df=st.floats(3, 1e5), power=st.floats(0.5, 0.99), sides=st.sampled_from((1, 2)))
def test_power_and_size_undo_each_other_and_are_those_of_scipy(df, power, sides):
    size = errors_to_detect(df, power, 0.05, sides)
    assert power_of(size, df, 0.05, sides) == pytest.approx(power, abs=1e-9)
    from scipy.stats import t as student_t
    assert nct.sf(student_t.ppf(1 - 0.05 / sides, df), df, size) == pytest.approx(power, abs=1e-6)


def test_small_cohorts_need_more_errors_and_no_df_is_never():
    sizes = [errors_to_detect(df) for df in (5, 20, 60, 400, 1e7)]
    assert sizes == sorted(sizes, reverse=True)
    assert sizes[-1] == pytest.approx(1.959964 + 0.841621, abs=1e-6)
    assert errors_to_detect(0.5) == inf


def test_what_cannot_be_told_apart_is_never_detected():
    _, x, z, starts = two_groups(5, (0, 4, 12))
    x = np.column_stack([x, 2 * x[:, 1]])
    found = planned(x, z, starts, PSI, 8.0)
    assert found.detectable(np.array([0.0, 0.0, 0.0, 0.0, 1.0])) == inf
    assert np.isfinite(found.detectable(np.array([0.0, 0.0, 0.0, 1.0, 0.0])))
