"""XmR limits, run-chart limits and funnel limits against handbook series, formulas and exact binomials."""

from math import comb, sqrt

import pytest

from pipeline.stats.control_charts import (
    D2_EXACT,
    D2_ROUNDED,
    D4_EXACT,
    fewest_crossings,
    longest_run_limit,
    p_chart_limits,
    xmr_limits,
    xmr_signals,
)
from pipeline.stats.funnel import funnel_limits

FLOW_RATES = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_individuals_chart_of_the_handbook_flow_rates():
    # NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: ten flow rates, mean 50.81, mean moving range 1.8778,
    # limits 55.8041 and 45.8159 with d2 = 1.128; the process is in control.
    found = xmr_limits(FLOW_RATES, d2=D2_ROUNDED)
    assert found.center == pytest.approx(50.81) and found.mean_moving_range == pytest.approx(1.8778, abs=5e-5)
    assert (found.low, found.high) == pytest.approx((45.8159, 55.8041), abs=5e-5)
    assert xmr_signals(FLOW_RATES, found) == []


def test_exact_constants_and_what_rounding_costs():
    # d2 for ranges of two is 2/sqrt(pi); printed tables: 1.128, 3/d2 = 2.66, D4 = 3.267.
    assert pytest.approx(1.128379, abs=5e-7) == D2_EXACT
    assert pytest.approx(2.65868, abs=5e-6) == 3 / D2_EXACT
    assert pytest.approx(3.26653, abs=5e-6) == D4_EXACT
    exact = xmr_limits(FLOW_RATES)
    assert exact.high == pytest.approx(55.8024, abs=5e-5) and exact.base_points == 10


def test_p_chart_limits():
    # Montgomery, Introduction to Statistical Quality Control, juice cans: p-bar 0.2313, n 50: 0.0524 and 0.4102.
    assert p_chart_limits(0.2313, 50) == pytest.approx((0.0524, 0.4102), abs=5e-5)


@pytest.mark.parametrize(
    ("points", "longest", "crossings"),
    # Anhoej and Olesen 2014, PLoS ONE 9:e113825: round(log2(n) + 3), 5 % quantile of Binomial(n - 1, 1/2).
    [(10, 6, 2), (12, 7, 3), (16, 7, 4), (20, 7, 6), (24, 8, 8), (30, 8, 10), (40, 8, 14), (60, 9, 23)],
)
def test_run_chart_limits(points, longest, crossings):
    assert longest_run_limit(points) == longest
    assert fewest_crossings(points) == crossings
    below = sum(comb(points - 1, k) for k in range(crossings)) / 2 ** (points - 1)  # the quantile from its definition
    assert below < 0.05 <= below + comb(points - 1, crossings) / 2 ** (points - 1)


@pytest.mark.parametrize(("n", "low", "high"), [(20, 0.3556, 0.7871), (50, 0.4517, 0.7241), (100, 0.4980, 0.6899)])
def test_exact_funnel_limits(n, low, high):
    # Interpolated binomial limits around 0.6 (Spiegelhalter 2005, Stat Med 24:1185-202, A.1.1), computed apart.
    assert funnel_limits(0.6, n) == pytest.approx((low, high), abs=5e-5)


@pytest.mark.parametrize("n", [20, 50, 100, 1000])
def test_exact_funnel_limits_interpolate_a_hand_summed_binomial(n):
    def cdf(r):
        return sum(comb(n, k) * 0.6**k * 0.4 ** (n - k) for k in range(r + 1))

    low, high = (limit * n for limit in funnel_limits(0.6, n))
    for limit, p in ((low, 0.025), (high, 0.975)):
        r = int(limit)  # limit lies between r and r + 1, where the cumulated probability passes p
        assert cdf(r) + (limit - r) * (cdf(r + 1) - cdf(r)) == pytest.approx(p, abs=1e-9)


def test_exact_and_normal_funnels_differ_while_sites_are_small():
    normal = 0.6 - 1.959964 * sqrt(0.24 / 20)
    assert normal == pytest.approx(0.3853, abs=5e-5)
    assert abs(funnel_limits(0.6, 20)[0] - normal) > 0.02
