"""The chart rules on series built to fire one rule each, and invariants of the funnel."""

from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.stats.control_charts import (
    FALSE_RUN_CHART_SHARE,
    FALSE_SIGNAL_SHARE,
    chart_kind,
    false_signal_share,
    p_chart_limits,
    run_chart,
    xmr_limits,
    xmr_signals,
)
from pipeline.stats.funnel import between_site_sd, dispersion, funnel_limits, mean_limits, winsorised

BASE = [10, 12, 9, 11, 10, 8, 11, 9, 12, 10, 9, 11]


def _rules(values, base_points=12):
    return [(s.rule, s.first, s.last, s.side) for s in xmr_signals(values, xmr_limits(values, base_points=base_points))]


def test_a_stable_series_has_no_signal():
    assert _rules(BASE) == []


def test_a_point_outside_the_limits_signals_and_does_not_move_fixed_limits():
    assert ("outside", 12, 12, "high") in _rules([*BASE, 30])
    assert xmr_limits([*BASE, 30], base_points=12) == xmr_limits(BASE)


def test_eight_on_one_side_signal_and_seven_do_not():
    assert ("run of 8", 12, 19, "low") in _rules([*BASE, *[9.5] * 8])
    assert _rules([*BASE[:-1], 11, *[9.5] * 7]) == []


def test_a_point_on_the_line_neither_breaks_nor_extends_a_run():
    center = xmr_limits(BASE).center
    assert _rules([*BASE, *[9.5] * 4, center, *[9.5] * 3]) == []
    assert [rule for rule, *_ in _rules([*BASE, *[9.5] * 4, center, *[9.5] * 4])] == ["run of 8"]


def test_two_of_three_beyond_two_sigma_on_one_side_only():
    limits = xmr_limits(BASE)
    far = limits.center + 2.5 * limits.sigma
    other = limits.center - 2.5 * limits.sigma
    assert ("2 of 3 beyond 2 sigma", 12, 14, "high") in _rules([*BASE, far, limits.center, far])
    assert _rules([*BASE, far, limits.center, other]) == []
    near = limits.center + 1.95 * limits.sigma
    assert _rules([*BASE, near, limits.center, near]) == []


@given(st.lists(st.floats(-50, 50), min_size=2, max_size=30), st.floats(-100, 100))
def test_limits_move_with_the_values_and_lie_around_the_centre(values, shift):
    found, moved = xmr_limits(values), xmr_limits([value + shift for value in values])
    assert found.low <= found.center <= found.high
    assert moved.high == pytest.approx(found.high + shift, abs=1e-6)


def test_run_chart_counts_by_hand_and_signals_a_shift():
    # Median of 1..5, 11..15 is 8: one crossing, two runs of five; fewest crossings for 10 points is 2.
    found = run_chart([1, 2, 3, 4, 5, 11, 12, 13, 14, 15])
    assert (found.median, found.points, found.longest_run, found.crossings) == (8, 10, 5, 1)
    assert found.has_signal and not run_chart([1, 9, 2, 8, 3, 7, 1, 9, 2, 8]).has_signal


def test_run_chart_leaves_out_points_on_the_median_and_survives_a_flat_line():
    assert run_chart([5, 5, 5]).points == 0 and not run_chart([5.0, 5.0]).has_signal
    assert run_chart([1, 5, 9, 5, 1, 5, 9]).points == 4


@pytest.mark.parametrize(("points", "kind"), [(7, "none"), (8, "run chart"), (11, "run chart"), (12, "xmr")])
def test_too_few_quarters_have_no_limits(points, kind):
    assert chart_kind(points) == kind


@given(st.floats(0.05, 0.95), st.integers(5, 400))
def test_funnel_limits_hold_the_target_and_widen_with_the_level(target, n):
    low, high = funnel_limits(target, n)
    wide_low, wide_high = funnel_limits(target, n, level=0.998)
    assert 0 <= wide_low <= low <= target + 1 / n and target - 1 / n <= high <= wide_high <= 1
    assert 0 <= p_chart_limits(target, n)[0] <= target <= p_chart_limits(target, n)[1] <= 1


def test_overdispersion_is_nothing_under_chance_needs_ten_sites_and_finds_a_planted_spread():
    errors = [2.0] * 20
    calm = [10 + 2.0 * z for z in (-1.5, -1, -0.5, 0, 0.5, 1, 1.5, -0.2, 0.2, 0.8) * 2]
    assert between_site_sd(calm, errors, 10.0) == 0.0 and dispersion(calm, errors, 10.0) < 1
    spread = [10 + 3 * (value - 10) for value in calm]
    tau = between_site_sd(spread, errors, 10.0)
    assert tau > 2 and mean_limits(10, 2, tau=tau)[1] > mean_limits(10, 2)[1]
    assert between_site_sd(calm[:9], errors[:9], 10.0) is None


def test_winsorising_pulls_in_the_ends_only():
    scores = [-9.0, *[float(i) for i in range(-4, 5)], 9.0]
    pulled = winsorised(scores)
    assert pulled[1:-1] == scores[1:-1] and (pulled[0], pulled[-1]) == (-4.0, 4.0)


STUDY = Path(__file__).parents[1] / "studies" / "results" / "control_chart_signals.csv"


def test_the_printed_false_signal_shares_are_the_ones_of_the_study():
    rows = {row["points"]: row for row in pl.read_csv(STUDY).iter_rows(named=True)}
    assert all(abs(rows[n]["xmr_false"] - share) <= 0.0005 for n, share in FALSE_SIGNAL_SHARE.items())
    assert all(abs(rows[n]["run_chart_false"] - share) <= 0.0005 for n, share in FALSE_RUN_CHART_SHARE.items())


def test_the_false_signal_share_at_20_points_comes_back_in_a_small_rerun():
    # 1,500 stable series, fixed seed: Monte Carlo error 1.0 point, tolerance three of them.
    series = np.random.default_rng(20260403).normal(size=(1500, 20)).tolist()
    fired = np.mean([bool(xmr_signals(row, xmr_limits(row, base_points=12))) for row in series])
    assert fired == pytest.approx(FALSE_SIGNAL_SHARE[20], abs=0.031)


def test_the_false_signal_share_follows_the_kind_of_chart():
    assert false_signal_share(7) is None and false_signal_share(11) == 0.008
    assert false_signal_share(12) == 0.041 and 0.080 < false_signal_share(15) < 0.125
    assert false_signal_share(60) == FALSE_SIGNAL_SHARE[40]
