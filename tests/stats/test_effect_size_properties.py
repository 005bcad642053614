"""Invariants of the standardised effects: scale, sign, limits of J, and the noncentral interval."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import chi, norm

from pipeline.stats.effect_sizes import (
    change_per_baseline_sd,
    change_per_change_sd,
    contrast_per_level_sd,
    difference_of_changes,
    hedges_g,
    noncentrality_limits,
    paired_difference,
    percent_change,
    sd_of_change,
    small_sample_factor,
)

means, sds, sizes = st.floats(-100, 100), st.floats(0.5, 50), st.integers(3, 500)


@given(st.floats(2, 5000))
def test_the_small_sample_factor_rises_towards_one_and_stays_near_its_approximation(df):
    assert 0 < small_sample_factor(df) < small_sample_factor(df * 1.1) < 1
    assert small_sample_factor(df) == pytest.approx(1 - 3 / (4 * df - 1), abs=0.01)


def test_the_small_sample_factor_needs_more_than_one_degree_of_freedom():
    with pytest.raises(ValueError):
        small_sample_factor(1)


@given(means, means, sds, sds, sizes, sizes, st.floats(0.1, 10))
def test_hedges_g_turns_with_the_groups_and_has_no_unit(m1, m2, sd1, sd2, n1, n2, scale):
    g = hedges_g(m1, sd1, n1, m2, sd2, n2)
    assert hedges_g(m2, sd2, n2, m1, sd1, n1).value == pytest.approx(-g.value, abs=1e-9)
    scaled = hedges_g(m1 * scale, sd1 * scale, n1, m2 * scale, sd2 * scale, n2)
    assert scaled.value == pytest.approx(g.value, rel=1e-9, abs=1e-9)
    assert g.low <= g.value <= g.high and g.denominator_sd <= max(sd1, sd2) + 1e-9


@given(means, means, sds, st.floats(-0.99, 0.99), st.integers(3, 500))
def test_change_per_baseline_sd_is_surer_with_more_people(before, after, sd, r, n):
    few, many = (change_per_baseline_sd(before, after, sd, r, count) for count in (n, 4 * n))
    assert many.variance < few.variance and few.low < few.value < few.high


@given(sds, st.floats(-1, 1), st.integers(3, 200), means)
def test_change_sd_at_correlation_one_half_equals_the_common_sd(sd, r, n, change):
    assert sd_of_change(sd, sd, 0.5) == pytest.approx(sd)
    base = change_per_baseline_sd(0.0, change, sd, 0.5, n)
    assert change_per_change_sd(change, sd_of_change(sd, sd, 0.5), n).value == pytest.approx(base.value)
    assert paired_difference(change, sd, 0.0, sd, r, n).difference == change


def _tail(t, df, delta):
    """P(T <= t) of a noncentral t by integrating the normal over the chi distribution: no shared code."""
    spread = df**0.5
    return quad(lambda s: norm.cdf(t * s - delta) * chi.pdf(s * spread, df) * spread, 0, 10)[0]


@settings(max_examples=20, deadline=None)
@given(st.floats(-8, 8), st.floats(4, 100))
def test_noncentrality_limits_put_half_the_error_in_each_tail(t, df):
    low, high = noncentrality_limits(t, df)
    assert _tail(t, df, low) == pytest.approx(0.975, abs=1e-5)
    assert _tail(t, df, high) == pytest.approx(0.025, abs=1e-5)


def test_model_contrast_per_level_sd_holds_its_value_and_names_its_denominator():
    found = contrast_per_level_sd(6.0, 2.0, 40.0, 20.0, 60.0)
    assert found.value == pytest.approx(0.3 * small_sample_factor(60)) and found.low < found.value < found.high
    assert found.interval == "noncentral t" and "observed pressure" in found.denominator


def test_model_contrast_limits_are_the_normal_ones_where_everything_is_known():
    found = contrast_per_level_sd(6.0, 2.0, 1e5, 20.0, 1e6)
    assert (found.low, found.high) == pytest.approx(((6 - 1.96 * 2) / 20, (6 + 1.96 * 2) / 20), abs=2e-4)
    few = contrast_per_level_sd(6.0, 2.0, 1e5, 20.0, 10)
    assert few.low == pytest.approx(found.low * small_sample_factor(10), abs=2e-4)


@given(sds, st.floats(-0.9, 0.9), st.integers(3, 200), means)
def test_without_an_effect_the_variance_of_a_difference_is_the_sum_of_both(sd, r, n, change):
    both = difference_of_changes(change, sd, n, change, sd, n, r)
    one = change_per_baseline_sd(0.0, 0.0, sd, r, n)
    assert both.value == 0 and both.variance == pytest.approx(2 * one.variance)


@pytest.mark.parametrize("convention", ["", "cohen", "statsmodels"])
def test_an_unnamed_variance_convention_is_refused(convention):
    with pytest.raises(ValueError, match="convention"):
        hedges_g(1, 1, 10, 0, 1, 10, convention=convention)


def test_percent_change_of_nothing_is_none():
    assert percent_change(0.0, 5.0) is None and percent_change(50.0, 40.0) == -20.0
