"""Invariants of shares: inside 0..1, mirrored, and chance floors that rise with error and learning."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.stats.proportions import (
    Interval,
    newcombe_difference,
    number_needed,
    share_past_by_chance,
    share_past_threshold,
    wilson,
)

counts = st.integers(1, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


@given(counts)
def test_wilson_stays_inside_and_is_mirrored(count):
    events, n = count
    found, mirrored = wilson(events, n), wilson(n - events, n)
    assert 0 <= found.low <= found.value <= found.high <= 1 and found.low < found.high
    assert (1 - mirrored.high, 1 - mirrored.low) == pytest.approx((found.low, found.high), abs=1e-12)


@given(counts, counts)
def test_newcombe_turns_with_the_groups_and_stays_inside(first, second):
    found, turned = newcombe_difference(*first, *second), newcombe_difference(*second, *first)
    assert -1 <= found.low <= found.value <= found.high <= 1
    assert (-turned.high, -turned.low) == pytest.approx((found.low, found.high), abs=1e-12)


@given(counts, counts)
def test_number_needed_never_gives_a_plain_interval_across_nothing(first, second):
    difference = newcombe_difference(*first, *second)
    found = number_needed(difference)
    assert found.through_infinity == (difference.low < 0 < difference.high) == ("… ∞ …" in found.text)


def test_number_needed_of_no_difference_and_of_a_limit_at_nothing():
    assert number_needed(Interval(0.0, -0.1, 0.1, 0.95)).value is None
    assert number_needed(Interval(0.2, 0.0, 0.4, 0.95)).text == "5.0 for one benefit (2.5 to ∞)"
    assert number_needed(Interval(-0.2, -0.4, -0.1, 0.95)).text == "5.0 for one harm (2.5 to 10.0)"


@given(st.floats(1, 50), st.floats(1, 20), st.floats(0, 10))
def test_the_floor_rises_with_learning_and_falls_with_the_threshold(threshold, sem, learning):
    floor = share_past_by_chance(threshold, sem, learning_cmh2o=learning)
    assert 0 <= floor <= 1
    assert share_past_by_chance(threshold, sem, learning_cmh2o=learning + 1) >= floor
    assert share_past_by_chance(threshold + 1, sem, learning_cmh2o=learning) <= floor


def test_share_past_a_threshold_is_the_mean_probability():
    assert share_past_threshold([17.0, 17.0], [5.0, 2.0], 17.0) == pytest.approx(0.5)
    assert share_past_threshold([20.0, 10.0], [0.0, 0.0], 17.0) == 0.5
    assert share_past_threshold([], [], 17.0) is None


@pytest.mark.parametrize(("events", "n"), [(1, 0), (-1, 5), (6, 5)])
def test_impossible_counts_are_refused(events, n):
    with pytest.raises(ValueError):
        wilson(events, n)
