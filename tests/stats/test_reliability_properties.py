"""Repeatability from frames: who counts, who drops out, and what happens to shifted or scaled tests."""

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.stats.reliability import bland_altman, expected_best_of, repeatability, rise_by_selection

people = st.lists(st.lists(st.floats(20, 150), min_size=1, max_size=5), min_size=2, max_size=12)


def _frame(values):
    rows = [(f"c{i}", value) for i, tests in enumerate(values) for value in tests]
    return pl.DataFrame(rows, schema={"client_key": pl.String, "value_cmh2o": pl.Float64}, orient="row")


def test_one_test_a_person_says_nothing():
    assert repeatability(_frame([[80.0], [90.0]])) is None
    assert repeatability(_frame([[80.0, None], [90.0]])) is None


def test_two_tests_give_half_the_squared_difference_and_single_tests_drop_out():
    found = repeatability(_frame([[80.0, 90.0], [70.0, 66.0], [100.0]]))
    assert found.sem == pytest.approx(((100 / 2 + 16 / 2) / 2) ** 0.5) and (found.people, found.df) == (2, 2)
    assert found.formula == "1.96·√2·SEM" and found.low < found.sem < found.high


@given(people, st.floats(-50, 50))
def test_a_shift_by_person_changes_nothing(values, shift):
    moved = [[value + shift * i for value in tests] for i, tests in enumerate(values)]
    first, second = repeatability(_frame(values)), repeatability(_frame(moved))
    assert (first is None) == (second is None) == all(len(tests) == 1 for tests in values)
    if first is not None:
        assert second.sem == pytest.approx(first.sem, abs=1e-6)


def test_bland_altman_turns_with_the_order_and_needs_three_pairs():
    one, two = [80.0, 90.0, 71.0, 66.0], [84.0, 89.0, 70.0, 60.0]
    found, turned = bland_altman(one, two), bland_altman(two, one)
    assert (-turned.high, -turned.low) == pytest.approx((found.low, found.high))
    with pytest.raises(ValueError):
        bland_altman(one[:2], two[:2])


@given(st.floats(30, 120), st.floats(0.01, 0.99))
def test_selection_only_lifts_and_lifts_less_where_tests_are_reliable(cut, reliability):
    rise = rise_by_selection(cut, 75.0, 22.0, reliability)
    assert rise > 0 and rise_by_selection(cut, 75.0, 22.0, (1 + reliability) / 2) < rise
    assert rise_by_selection(cut, 75.0, 22.0, 1.0) == 0


def test_more_efforts_give_a_higher_best():
    assert expected_best_of(1, 5.0) == pytest.approx(0.0, abs=1e-9)
    assert expected_best_of(10, 6.0) - expected_best_of(3, 6.0) == pytest.approx(4.15, abs=0.01)
