"""Intervals of shares against Newcombe's published tables and an independent library."""

import pytest
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from pipeline.stats.proportions import (
    Interval,
    newcombe_difference,
    number_needed,
    share_past_by_chance,
    wilson,
)

# Newcombe 1998, Stat Med 17:857-72, table I, method 3 (Wilson score without continuity correction), 4 decimals.
WILSON = [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)]
# Newcombe 1998, Stat Med 17:873-90, table II, method 10, 4 decimals.
NEWCOMBE = [
    (56, 70, 48, 80, 0.0524, 0.3339),
    (9, 10, 3, 10, 0.1705, 0.8090),
    (10, 10, 0, 10, 0.6075, 1.0000),
    (0, 10, 0, 20, -0.1611, 0.2775),
]


@pytest.mark.parametrize(("events", "n", "low", "high"), WILSON)
def test_wilson_published_and_by_an_independent_library(events, n, low, high):
    found = wilson(events, n)
    assert (found.low, found.high) == pytest.approx((low, high), abs=5e-5)
    assert (found.low, found.high) == pytest.approx(proportion_confint(events, n, method="wilson"), abs=1e-12)


@pytest.mark.parametrize(("x1", "n1", "x2", "n2", "low", "high"), NEWCOMBE)
def test_newcombe_published_and_by_an_independent_library(x1, n1, x2, n2, low, high):
    found = newcombe_difference(x1, n1, x2, n2)
    assert found.value == pytest.approx(x1 / n1 - x2 / n2)
    assert (found.low, found.high) == pytest.approx((low, high), abs=6e-5)  # 0.27753 is printed 0.2775
    library = confint_proportions_2indep(x1, n1, x2, n2, method="newcomb", compare="diff")
    assert (found.low, found.high) == pytest.approx(library, abs=1e-9)


def test_number_needed_of_a_clear_difference():
    # 56/70 against 48/80 (Newcombe 1998): 1/0.2000 = 5.0, limits 1/0.3339 and 1/0.0524.
    found = number_needed(newcombe_difference(56, 70, 48, 80))
    assert (found.value, found.low, found.high) == pytest.approx((5.0, 2.995, 19.07), abs=0.005)
    assert not found.through_infinity and found.text == "5.0 for one benefit (3.0 to 19.1)"


def test_number_needed_through_infinity():
    # Altman 1998, BMJ 317:1309-12: an interval of a difference that holds 0 is benefit to infinity to harm. His
    # example: difference 10 %, 95 % interval -5 % to 25 %: "NNTB 10 (NNTH 20 to infinity to NNTB 4)".
    found = number_needed(Interval(0.10, -0.05, 0.25, 0.95))
    assert (found.value, found.low, found.high) == pytest.approx((10, 4, 20)) and found.through_infinity
    assert found.text == "10.0 for one benefit (benefit 4.0 … ∞ … harm 20.0)"


@pytest.mark.parametrize(
    ("sem", "threshold", "percent"),
    # Normal tail of N(0, sqrt(2)*SEM) by table: 13.5/11.314 = 1.193 -> 11.6 %, and so on. Thresholds: 13.5 cmH2O
    # (Clin Rehabil 2023;37:1521), 17.2 (Iwakura 2021, PMC8111409), 22 (SDC95 of a SEM of 8).
    [(8, 13.5, 11.6), (8, 17.2, 6.4), (8, 22, 2.6), (10, 13.5, 17.0), (10, 17.2, 11.2), (10, 22, 6.0)],
)
def test_share_past_a_threshold_by_error_alone(sem, threshold, percent):
    assert 100 * share_past_by_chance(threshold, sem) == pytest.approx(percent, abs=0.05)


@pytest.mark.parametrize(("learning", "percent"), [(0, 2.5), (5, 6.4), (9, 12.2), (13, 20.9)])
def test_share_past_the_detectable_change_with_learning(learning, percent):
    # SDC95 = 1.96*sqrt(2)*8 = 22.17 cmH2O; sham rises of 5 and 13 (Hill 2006, del Corral 2022), 9 (Larson 1993).
    assert 100 * share_past_by_chance(1.96 * 2**0.5 * 8, 8, learning_cmh2o=learning) == pytest.approx(percent, abs=0.05)
