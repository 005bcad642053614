"""Agreement and repeatability against Bland and Altman 1986, and the SDC conflict of printed papers."""

import polars as pl
import pytest

from pipeline.stats.reliability import (
    bland_altman,
    expected_best_of,
    repeatability,
    rise_by_selection,
    sdc95,
    sem_from_sdc95,
)

# Bland and Altman 1986, Lancet i:307-10, table 1: peak expiratory flow in l/min of 17 people, two readings with a large
# and two with a small meter.
LARGE_1 = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
LARGE_2 = [490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421]
SMALL_1 = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
SMALL_2 = [525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443]


def test_limits_of_agreement_1986():
    # Paper: mean difference -2.1, SD 38.8, limits -79.7 and 75.5 (mean +- 2 SD from rounded figures; unrounded -79.6,
    # 75.4), SE of the mean 9.4, interval of the bias -22.0 to 17.8 (t = 2.12), SE of a limit 16.3.
    found = bland_altman(LARGE_1, SMALL_1, multiplier=2)
    assert (found.mean, found.sd) == pytest.approx((-2.118, 38.765), abs=0.0005)
    assert (found.low, found.high) == pytest.approx((-79.7, 75.5), abs=0.11)
    assert (found.mean_std_error, found.limit_std_error) == pytest.approx((9.4, 16.3), abs=0.05)
    assert (found.mean_low, found.mean_high) == pytest.approx((-22.0, 17.8), abs=0.06)


def test_limits_with_the_usual_multiplier():
    found = bland_altman(LARGE_1, SMALL_1)
    assert (found.low, found.high) == pytest.approx((-78.10, 73.86), abs=0.005)


def _repeats(first, second):
    return pl.DataFrame({"client_key": list(range(17)) * 2, "value_cmh2o": [float(v) for v in first + second]})


@pytest.mark.parametrize(
    ("first", "second", "within_sd", "repeat"), [(LARGE_1, LARGE_2, 15.31, 42.4), (SMALL_1, SMALL_2, 19.91, 55.2)]
)
def test_repeatability_1986(first, second, within_sd, repeat):
    # Within-subject SDs of the paper's replicates, 15.3 and 19.9 l/min (Bland and Altman 1999, Stat Methods Med Res
    # 8:135-60); repeatability 1.96*sqrt(2)*s.
    found = repeatability(_repeats(first, second))
    assert found.sem == pytest.approx(within_sd, abs=0.005) and found.sdc95 == pytest.approx(repeat, abs=0.05)
    assert (found.people, found.df) == (17, 17)


def test_printed_smallest_detectable_differences_use_another_formula():
    # Dimitriadis 2011, Respir Care 56:776-82: SEM 9-10, printed "SDD" 18-22. That is about 1.96*SEM; with the sqrt(2)
    # of a difference of two tests it is 24.9 to 27.7. So the formula stands beside every SDC we print.
    assert (sdc95(9), sdc95(10)) == pytest.approx((24.9, 27.7), abs=0.06)
    assert 1.96 * 10 < 22 < sdc95(9)
    assert sem_from_sdc95(sdc95(8.0)) == pytest.approx(8.0)


@pytest.mark.parametrize(("typical_error", "detectable"), [(7.92, 21.95), (12.34, 34.2), (6.71, 18.6), (10.92, 30.3)])
def test_detectable_changes_of_a_reliability_study(typical_error, detectable):
    # Typical errors of MIP and MEP between and within days, n 70: Pereira 2019, Fisioter Bras (abstract); times 2.7719.
    assert sdc95(typical_error) == pytest.approx(detectable, abs=0.06)


@pytest.mark.parametrize(("efforts", "sds"), [(2, 0.5642), (3, 0.8463), (5, 1.1630), (10, 1.5388)])
def test_best_of_n_efforts(efforts, sds):
    # Expected largest of n standard normals, 4 decimals: Harter 1961, Biometrika 48:151-65, table 1.
    assert expected_best_of(efforts, 1.0) == pytest.approx(sds, abs=5e-5)


def test_rise_by_selection_of_the_weak():
    # By hand: z = (60-75)/22 = -0.682, mean below 60 is 75 - 22*0.3162/0.2477 = 46.9; 10 % of the gap 28.1 is 2.8.
    assert rise_by_selection(60, 75, 22, 0.9) == pytest.approx(2.81, abs=0.01)
