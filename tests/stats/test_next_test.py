"""The planner: the earliest week that settles, kept gaps, and no promise it cannot keep."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.stats.next_test import chance_gain_settles, next_test
from pipeline.stats.stalled_rule import StalledRule
from pipeline.stats.window_slope import slope_std_error
from tests.studies.next_test_power import rows

RULE = StalledRule()


def test_after_one_test_the_next_must_be_nine_weeks_later():
    # Two tests w weeks apart: SE = 8*sqrt(2)/w <= 1.26 from w = 8.98 on.
    found = next_test([0], 8.0, look_week=1, rule=RULE, target=17.0)
    assert found.week == 9 and found.slope_std_error == pytest.approx(8 * 2**0.5 / 9)
    assert found.on(date(2026, 1, 5)) == date(2026, 3, 9) and found.chance_gain_settles is None


def test_where_only_the_gain_is_unclear_the_usual_gap_is_kept():
    found = next_test([0, 4, 8, 12], 8.0, look_week=12, rule=RULE, target=17.0, gain=15.0, gain_se=5.0)
    assert found.week == 16 and found.power_if_flat > 0.45 and 0 < found.chance_gain_settles < 1


def test_a_very_unsure_instrument_has_no_single_settling_test():
    assert next_test([0], 30.0, look_week=1, rule=RULE) is None and next_test([], 8.0, look_week=1, rule=RULE) is None


@given(st.lists(st.integers(0, 30), min_size=1, max_size=6, unique=True), st.integers(0, 40))
def test_the_planned_test_is_in_the_future_and_does_settle(weeks, look_week):
    found = next_test(weeks, 8.0, look_week=look_week, rule=RULE)
    if found is not None:
        assert found.week > max(look_week, max(weeks)) and found.slope_std_error <= RULE.widest_slope_se
        wide = [w for w in [*weeks, found.week] if w >= found.week - RULE.wide_window_weeks]
        assert found.slope_std_error >= slope_std_error(wide, 8.0) - 1e-12


@given(st.floats(-20, 60), st.floats(1, 15))
def test_the_chance_is_a_probability_and_symmetric_around_what_is_needed(gain, gain_se):
    chance = chance_gain_settles(gain, gain_se, 17.0, 8.0)
    assert 0 <= chance <= 1 + 1e-12
    assert chance_gain_settles(34.0 - gain, gain_se, 17.0, 8.0) == pytest.approx(chance, abs=1e-9)


def test_what_the_planner_promises_the_next_test_keeps():
    """Both chances against draws, for five rhythms, three sizes of error and three gains (tests/studies/next_test_power
    holds the table with 100,000 draws; 2 points are asked for, and 10,000 draws are off by 1.5 at most)."""
    found = [row for row in rows(10_000, 20261127) if "power said" in row]
    assert len(found) == 45
    assert max(float(str(row["worst difference, points"])) for row in found) < 2.0
