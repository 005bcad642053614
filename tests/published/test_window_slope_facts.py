"""What a window of tests can show: SE of the slope and power if flat, recomputed from the definitions.

Error of one test 8 cmH2O (Pereira 2019, Fisioter Bras: typical error of MIP between days 7.92, n 70). Target 17 cmH2O
in 12 weeks (Iwakura 2021, PMC8111409). By hand: SE = 8/sqrt(Sxx), power = Phi((17/12)/SE - 1.645).
"""

import numpy as np
import pytest
from scipy.stats import norm

from pipeline.stats.next_test import chance_gain_settles
from pipeline.stats.window_slope import power_if_flat, power_if_on_pace, slope_std_error

FACTS = [  # weeks of the tests; Sxx by hand; SE; power in percent
    ([0, 4, 8, 12], 80, 0.89, 48),
    ([0, 2, 4, 6, 8, 10, 12], 112, 0.76, 59),
    (list(range(13)), 182, 0.59, 77),
    ([0, 2, 4, 6, 8], 40, 1.26, 30),
    (list(range(0, 17, 2)), 240, 0.52, 86),
    (list(range(0, 25, 4)), 448, 0.38, 98),
    ([0, 12], 72, 0.94, 44),
]


@pytest.mark.parametrize(("weeks", "sxx", "error", "power"), FACTS)
def test_slope_error_and_power_if_flat(weeks, sxx, error, power):
    found = slope_std_error(weeks, 8.0)
    assert found == pytest.approx(8 / sxx**0.5) and found == pytest.approx(error, abs=0.006)
    by_hand = 100 * norm.cdf(17 / 12 / found - 1.645)
    assert 100 * power_if_flat(found, pace=17 / 12) == pytest.approx(by_hand) == pytest.approx(power, abs=0.7)


@pytest.mark.parametrize("weeks", [[0, 4, 8, 12], list(range(0, 25, 4))])
def test_power_equals_simulation_within_two_points(weeks):
    # 20,000 flat people and 20,000 on pace, fixed seed; Monte Carlo error of a share is 0.35 points.
    rng, pace = np.random.default_rng(20260301), 17 / 12
    centred = np.array(weeks) - np.mean(weeks)
    flat = rng.normal(0, 8, (20_000, len(weeks))) @ centred / np.sum(centred**2)
    error = slope_std_error(weeks, 8.0)
    assert np.mean(flat + 1.645 * error < pace) == pytest.approx(power_if_flat(error, pace=pace), abs=0.02)
    rising = np.mean(norm.cdf((flat + pace) / error) >= 0.9)
    assert rising == pytest.approx(power_if_on_pace(error, pace=pace), abs=0.02)


@pytest.mark.parametrize(("gain", "gain_se"), [(10.0, 5.0), (17.0, 6.0), (20.0, 4.0)])
def test_chance_that_the_gain_settles_equals_simulation_within_two_points(gain, gain_se):
    # True gain drawn from what is known today, one more test of error 8, knowledge updated by Bayes; needed 17.
    rng = np.random.default_rng(20260302)
    truth = rng.normal(gain, gain_se, 40_000)
    measured = truth + rng.normal(0, 8, truth.size)
    weight = gain_se**2 / (gain_se**2 + 64)
    now, spread = gain + weight * (measured - gain), (weight * 64) ** 0.5
    below = norm.cdf((17 - now) / spread)
    settled = np.mean((below > 0.9) | (below < 0.1))
    assert chance_gain_settles(gain, gain_se, 17.0, 8.0) == pytest.approx(settled, abs=0.02)
