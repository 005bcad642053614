"""The slope of a window: which tests are in, whose error counts, and that it does not depend on order."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.stats.window_slope import chosen_slope, sd_at_level, slope_std_error, window_slope

courses = st.lists(
    st.tuples(st.integers(0, 40), st.floats(20, 150)), min_size=2, max_size=12, unique_by=lambda test: test[0]
)


@given(courses, st.floats(-3, 3), st.randoms())
def test_a_straight_line_comes_back_in_any_order(tests, slope, random):
    shuffled = list(tests)
    random.shuffle(shuffled)
    weeks = [week for week, _ in shuffled]
    found = window_slope(weeks, [50 + slope * week for week in weeks], 8.0, window_weeks=40)
    assert found.slope == pytest.approx(slope, abs=1e-9) and found.tests == len(tests)
    assert found.std_error == pytest.approx(slope_std_error(sorted(weeks), 8.0))


@given(courses)
def test_one_error_for_all_equals_the_same_error_by_test(tests):
    weeks = [week for week, _ in tests]
    assert slope_std_error(weeks, [8.0] * len(weeks)) == pytest.approx(slope_std_error(weeks, 8.0))


def test_both_ends_of_the_window_are_in_and_older_tests_are_out():
    weeks, values = [0, 12, 16, 20, 24], [10.0, 60.0, 60.0, 60.0, 60.0]
    found = window_slope(weeks, values, 8.0, window_weeks=12)
    assert (found.first_week, found.last_week, found.tests, found.slope) == (12, 24, 4, 0)


def test_the_wide_window_steps_in_only_when_the_narrow_one_says_too_little():
    settings = {"window_weeks": 12.0, "wide_window_weeks": 24.0, "widest_se": 1.26}
    assert chosen_slope([0, 12, 16, 20, 24], [60.0] * 5, 8.0, **settings).window_weeks == 12
    assert chosen_slope([0, 8, 22, 24], [60.0] * 4, 8.0, **settings).window_weeks == 24
    assert chosen_slope([0, 24], [60.0] * 2, 8.0, **settings).window_weeks == 24
    assert chosen_slope([5], [60.0], 8.0, **settings) is None and chosen_slope([], [], 8.0, **settings) is None


def test_two_tests_on_one_day_have_no_slope():
    assert slope_std_error([3, 3], 8.0) is None and window_slope([3, 3], [50.0, 60.0], 8.0, window_weeks=12) is None


def test_error_that_grows_with_the_level():
    assert sd_at_level(8.0, 120.0, 60.0, 1.0) == 16.0 and sd_at_level(8.0, 120.0, 60.0, 0.0) == 8.0
    assert sd_at_level(8.0, 30.0, 60.0, 0.5) == pytest.approx(5.657, abs=0.001)
