"""Regression to the mean and the best of several efforts: against closed forms, a published table and plain draws."""

from math import pi, sqrt

import numpy as np
import pytest

from pipeline.stats.selection import best_of_sd, excess_when_picked, excess_when_picked_below


def test_best_of_n_against_tippett():
    # Tippett 1925, Biometrika 17:364-87 (and tables of normal order statistics since): mean of the largest of n.
    table = {2: 0.56419, 3: 0.84628, 5: 1.16296, 8: 1.42360, 10: 1.53875}
    assert [best_of_sd(n) for n in table] == pytest.approx(list(table.values()), abs=1e-5)
    assert best_of_sd(1) == pytest.approx(0, abs=1e-12) and best_of_sd(2) == pytest.approx(1 / sqrt(pi))


def test_best_of_no_effort_is_refused():
    with pytest.raises(ValueError, match="1 or more"):
        best_of_sd(0)


def picked(seed, sem, cut, everybody=75.0, sd=20.0, people=400_000):
    """Mean first value, and mean rise at the second test, of those whose first value lies below the cut."""
    rng = np.random.default_rng(seed)
    true = rng.normal(everybody, sd, people)
    first, second = (true + rng.normal(0, sem, people) for _ in range(2))
    mine = first < cut
    return float(first[mine].mean()), float((second - first)[mine].mean())


@pytest.mark.parametrize(("sem", "cut"), [(8.0, 60.0), (12.0, 70.0), (5.0, 50.0)])
def test_the_expected_excess_is_what_draws_show(sem, cut):
    mean, rise = picked(7, sem, cut)
    assert excess_when_picked_below(cut, mean, 20.0, sem) == pytest.approx(rise, abs=0.2)
    assert excess_when_picked(mean, 75.0, 20.0, sem) == pytest.approx(rise, abs=0.2)


def test_a_mean_near_the_cut_tells_nothing():
    with pytest.raises(ValueError, match="too close"):
        excess_when_picked_below(60.0, 59.0, 20.0, 8.0)
