"""Standardised changes and differences against published examples."""

import pytest
from statsmodels.stats.meta_analysis import effectsize_smd

from pipeline.stats.effect_sizes import (
    TEXTBOOK,
    change_per_baseline_sd,
    change_per_change_sd,
    difference_of_changes,
    hedges_g,
    matched_g,
    paired_difference,
    percent_change,
    sd_of_change,
    small_sample_factor,
)

# Morris 2008, Organ Res Methods 11:364-86, table 1: five trials. Treated, then control: mean before, mean after, SD
# before, SD after, n; then r. Values and variances: the public worked example of that paper for R's metafor
# ("analyses:morris2008", its test file), 4 decimals; last column the paper's own difference, 2 decimals.
MORRIS = [
    ((30.6, 38.5, 15.0, 11.6, 20), (23.1, 19.7, 13.8, 14.8, 20), 0.47),
    ((23.5, 26.8, 3.1, 4.1, 50), (24.9, 25.3, 4.1, 3.3, 42), 0.64),
    ((0.5, 0.7, 0.1, 0.1, 9), (0.6, 0.6, 0.2, 0.2, 9), 0.77),
    ((53.4, 75.9, 14.5, 4.4, 10), (55.7, 60.7, 17.3, 17.9, 11), 0.89),
    ((35.6, 36.0, 4.7, 4.6, 14), (34.8, 33.4, 3.1, 6.9, 14), 0.44),
]
PER_BASELINE_SD = [
    ((0.5056, 0.0594), (-0.2365, 0.0544), 0.74),
    ((1.0481, 0.0254), (0.0958, 0.0173), 0.95),
    ((1.8054, 0.2322), (0.0000, 0.0511), 1.81),
    ((1.4181, 0.1225), (0.2667, 0.0232), 1.15),
    ((0.0801, 0.0802), (-0.4250, 0.0864), 0.51),
]
PER_CHANGE_SD = [
    ((0.5417, 0.0573), (-0.2213, 0.0512)),
    ((1.0198, 0.0304), (0.1219, 0.0240)),
    ((2.6619, 0.5048), (0.0000, 0.1111)),
    ((1.9088, 0.2822), (0.5575, 0.1050)),
    ((0.0765, 0.0716), (-0.2126, 0.0730)),
]


def _base(group, r):
    before, after, sd_before, _, n = group
    return change_per_baseline_sd(before, after, sd_before, r, n)


@pytest.mark.parametrize(("trial", "expected"), list(zip(MORRIS, PER_BASELINE_SD, strict=True)))
def test_morris_change_per_baseline_sd(trial, expected):
    treated, control, r = trial
    (g_treated, v_treated), (g_control, v_control), difference = expected
    one, two = _base(treated, r), _base(control, r)
    assert (one.value, one.variance) == pytest.approx((g_treated, v_treated), abs=5e-5)
    assert (two.value, two.variance) == pytest.approx((g_control, v_control), abs=5e-5)
    # Trial 5 is printed 0.51 from rounded parts (0.08 + 0.43); exactly it is 0.5050.
    assert one.value - two.value == pytest.approx(difference, abs=0.0051)


@pytest.mark.parametrize(("trial", "expected"), list(zip(MORRIS, PER_CHANGE_SD, strict=True)))
def test_morris_change_per_change_sd(trial, expected):
    treated, control, r = trial
    for (before, after, sd_before, sd_after, n), (g, variance) in zip((treated, control), expected, strict=True):
        found = change_per_change_sd(after - before, sd_of_change(sd_before, sd_after, r), n)
        assert (found.value, found.variance) == pytest.approx((g, variance), abs=5e-5)


@pytest.mark.parametrize(("trial", "worked"), list(zip(MORRIS, [0.768, 0.801, 1.205, 1.048, 0.439], strict=True)))
def test_morris_difference_per_pooled_baseline_sd(trial, worked):
    # Worked apart from the same inputs by Morris's formula for the pooled SD of the baselines (d_ppc2), 3 decimals.
    (before_1, after_1, sd_1, _, n_1), (before_2, after_2, sd_2, _, n_2), r = trial
    found = difference_of_changes(after_1 - before_1, sd_1, n_1, after_2 - before_2, sd_2, n_2, r)
    assert found.value == pytest.approx(worked, abs=0.0005)


STROKE_CARE = [  # Normand 1999, Stat Med 18:321-59, length of stay, first four trials as in metafor's test file:
    ((55, 47, 155), (75, 64, 156), -0.3552, 0.0131),  # mean, SD, n of specialist and of routine care; g; variance
    ((27, 7, 31), (29, 4, 32), -0.3479, 0.0645),
    ((64, 17, 75), (119, 29, 71), -2.3176, 0.0458),
    ((66, 20, 18), (137, 48, 18), -1.8880, 0.1606),
]


@pytest.mark.parametrize(("first", "second", "g", "variance"), STROKE_CARE)
def test_hedges_g_of_four_stroke_care_trials(first, second, g, variance):
    found = hedges_g(*first, *second)
    assert (found.value, found.variance) == pytest.approx((g, variance), abs=5e-5)


def test_borenstein_independent_groups_and_the_two_variances():
    # Borenstein et al. 2009, Introduction to Meta-Analysis, ch. 4: d 0.5970, J 0.9923, g 0.5924, variance 0.0411, SE
    # 0.2028. The book's J is 1 - 3/(4*98-1); the exact one differs by 2e-6.
    book = hedges_g(103, 5.5, 50, 100, 4.5, 50, convention=TEXTBOOK)
    assert (book.value, book.variance, book.std_error) == pytest.approx((0.5924, 0.0411, 0.2028), abs=5e-5)
    assert book.denominator_sd == pytest.approx(5.0249, abs=5e-5)
    assert small_sample_factor(98) == pytest.approx(0.9923, abs=5e-5)
    assert hedges_g(103, 5.5, 50, 100, 4.5, 50).variance == pytest.approx(0.04175, abs=5e-6)


def test_an_independent_library_gives_the_same_g():
    # statsmodels 0.15 effectsize_smd: the same g (its J is 1 - 3/(4m-1)) and a third variance, 0.04183.
    g, variance = effectsize_smd(103, 5.5, 50, 100, 4.5, 50)
    ours = hedges_g(103, 5.5, 50, 100, 4.5, 50)
    assert ours.value == pytest.approx(float(g), abs=5e-6)
    assert float(variance) == pytest.approx(0.04183, abs=5e-6)
    assert abs(ours.variance - float(variance)) > 5e-5


def test_borenstein_matched_groups():
    # Same book, ch. 4: difference 3, SD of it 5.5, r 0.7, n 50: S_within 7.1005, g 0.4160, variance 0.0127.
    found = matched_g(3, 5.5, 0.7, 50)
    assert (found.value, found.variance) == pytest.approx((0.4160, 0.0127), abs=5e-5)
    assert found.denominator_sd == pytest.approx(7.1005, abs=5e-5)


def test_cochrane_handbook_crossover():
    # Cochrane Handbook 5.1, section 16.4.6.4: E 7.0 (2.38), C 6.5 (2.21), n 10, correlation 0.68: SE 0.583, SMD 0.218,
    # its SE 0.256; with the SD of the differences known to be 2: SE 0.632.
    found = paired_difference(7.0, 2.38, 6.5, 2.21, 0.68, 10)
    assert (found.std_error, found.smd, found.smd_std_error) == pytest.approx((0.583, 0.218, 0.256), abs=5e-4)
    correlation = (2.38**2 + 2.21**2 - 2.0**2) / (2 * 2.38 * 2.21)
    assert paired_difference(7.0, 2.38, 6.5, 2.21, correlation, 10).std_error == pytest.approx(0.632, abs=5e-4)


def test_raw_mean_change():
    # metafor's test file of escalc ("MC"): 26 against 22, variances 30 and 20, r 0.7, n 60: 4.0, variance 0.2618.
    found = paired_difference(26, 30**0.5, 22, 20**0.5, 0.7, 60)
    assert found.difference == 4.0 and found.std_error**2 == pytest.approx(0.2618, abs=5e-5)


def test_hill_2006_percent_changes_and_contrast():
    # Hill 2006, Eur Respir J 27:1119-28: trained 62.7 (16.5) -> 80.7, "+29 %"; sham 66.5 (19.0) -> 71.7; n 16 and 17.
    assert percent_change(62.7, 80.7) == pytest.approx(28.7, abs=0.05)
    assert round(percent_change(62.7, 80.7)) == 29
    assert pytest.approx(12.8) == (80.7 - 62.7) - (71.7 - 66.5)
    contrast = difference_of_changes(80.7 - 62.7, 16.5, 16, 71.7 - 66.5, 19.0, 17, 0.8)
    assert contrast.value == pytest.approx(12.8 / 17.833 * 0.9756, abs=5e-4)  # pooled SD and J by hand


@pytest.mark.parametrize("r", [0.5, 0.8, 0.9])
def test_hill_2006_g_of_change_hangs_on_the_correlation(r):
    # Same table, SD after 17.8: the change per change SD runs from 1.05 to 2.32 with r, so without r it is no check.
    found = change_per_change_sd(18.0, sd_of_change(16.5, 17.8, r), 16)
    by_r = {0.5: 1.05, 0.8: 1.65, 0.9: 2.32}
    assert found.value / small_sample_factor(15) == pytest.approx(by_r[r], abs=0.005)
