"""A design read from its sums shows what the same design shows from its rows."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from pipeline.stats.planned import planned, planned_from_sums
from pipeline.stats.sums import as_patterns, from_rows

PSI = np.array([[300.0, -20.0], [-20.0, 49.0]])
IN_STEP = np.array([[4.0, 6.0], [6.0, 9.0]])
NONE_OF_TIME = np.array([[300.0, 0.0], [0.0, 0.0]])


def ragged(seed: int = 3, people: int = 60, whole: bool = False):
    """X (level and slope by group, a covariate), Z and starts of groups of 1 to 6 rows in three outer groups."""
    draw = np.random.default_rng(seed)
    counts = draw.integers(1, 4 if whole else 7, people)
    who = np.repeat(np.arange(people), counts)
    t = np.concatenate([np.sort(draw.choice(4, c, replace=False) if whole else draw.uniform(0, 2, c)) for c in counts])
    arm = (who % 2).astype(float)
    x = np.column_stack([np.ones_like(t), t, arm, arm * t, draw.standard_normal(people)[who]])
    return x, x[:, :2], np.flatnonzero(np.diff(who, prepend=-1)), draw


def same(found, rows):
    for name in ("information", "first", "second", "trace", "covariance", "adjusted"):
        wanted = getattr(rows, name)
        assert_allclose(getattr(found, name), wanted, rtol=1e-9, atol=1e-9 * np.abs(wanted).max(), err_msg=name)


@pytest.mark.parametrize("psi", [PSI, IN_STEP, NONE_OF_TIME, np.zeros((2, 2))])
@pytest.mark.parametrize("held", ["groups", "patterns"])
@pytest.mark.parametrize("outer", [0, 1, 2])
def test_sums_show_what_rows_show(psi, held, outer):
    x, z, starts, draw = ragged(whole=held == "patterns")
    outer_starts = np.array([0, 20, 50]) if outer else np.array([0])
    sums = from_rows(z, z[:, :outer], x, draw.standard_normal(len(x)), starts, outer_starts)
    if held == "patterns":
        sums = as_patterns(sums)
        assert len(sums.rows) < len(starts)
    same(planned_from_sums(sums, psi, 8.0, slice(outer, outer + 5)), planned(x, z, starts, psi, 8.0))


def test_an_intercept_alone_leaves_time_out_of_what_varies():
    x, z, starts, draw = ragged(4)
    sums = from_rows(z, z[:, :0], x, draw.standard_normal(len(x)), starts, np.array([0]))
    same(planned_from_sums(sums, PSI[:1, :1], 8.0, slice(0, 5)), planned(x, z[:, :1], starts, PSI[:1, :1], 8.0))


def test_halves_of_products_that_sql_holds_give_the_same_errors_and_df():
    x, z, starts, draw = ragged(5, whole=True)
    sums = as_patterns(from_rows(z, z[:, :0], x, draw.standard_normal(len(x)), starts, np.array([0])))
    half = (sums.pairs + np.swapaxes(sums.pairs, 3, 4)) / 2.0
    by_sql = replace(sums, pairs=half)
    found, rows, c = planned_from_sums(by_sql, PSI, 8.0, slice(0, 5)), planned(x, z, starts, PSI, 8.0), np.eye(5)[3]
    assert found.error(c) == pytest.approx(rows.error(c), rel=1e-9)
    assert found.df(c) == pytest.approx(rows.df(c), rel=1e-9)


def test_groups_count_by_their_weights():
    x, z, starts, draw = ragged(6)
    sums = from_rows(z, z[:, :1], x, draw.standard_normal(len(x)), starts, np.array([0, 30]))
    twice = replace(sums, outer_weight=np.array([2.0, 1.0]))
    cut = starts[30]
    again = np.concatenate([np.arange(cut), np.arange(len(x))])
    rows = planned(x[again], z[again], np.concatenate([starts[:30], starts + cut]), PSI, 8.0)
    same(planned_from_sums(twice, PSI, 8.0, slice(1, 6)), rows)
