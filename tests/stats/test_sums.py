"""Sums add up: halves to the whole, patterns to groups, SQL to NumPy."""

from dataclasses import replace

import duckdb
import numpy as np
import polars as pl
import pytest

from pipeline.stats import MixedModel, Varies, fit_mixed
from pipeline.stats.boundary import solve
from pipeline.stats.elsewhere import fit_from_sums, group_sums, pattern_sums
from pipeline.stats.likelihood import Shape, answer, evaluate
from pipeline.stats.sums import as_patterns, joined
from tests.stats.cohorts import CLIENT_SLOPE, cohort


def _fitted():
    fit = fit_mixed(cohort(clients=60, seed=3, whole_weeks=True), CLIENT_SLOPE)
    return fit, fit.solved.sums, fit.solved.shape


def _part(fit, sums, first, last):
    """The sums of the innermost groups first..last, as another site would form them in the same columns."""
    own = fit.standard.own_totals(fit.rows)[first:last].sum(axis=0)[None]
    rows, zz, zw, weight = (each[first:last] for each in (sums.rows, sums.zz, sums.zw, sums.weight))
    return replace(sums, rows=rows, zz=zz, zw=zw, weight=weight, total=own)


@pytest.mark.parametrize("d", [np.zeros((2, 2)), np.array([[0.8, 0.1], [0.1, 0.3]])])
def test_two_halves_of_one_cohort_answer_as_the_whole(d):
    fit, sums, shape = _fitted()
    halves = [_part(fit, sums, 0, 25), _part(fit, sums, 25, 60)]
    none = np.zeros((0, 0))
    added = answer(halves[0], shape, d, none) + answer(halves[1], shape, d, none)
    whole = answer(sums, shape, d, none)
    assert added.s == pytest.approx(whole.s, rel=1e-10, abs=1e-8)
    assert added.log_det == pytest.approx(whole.log_det, abs=1e-8)
    assert added.criterion(True) == pytest.approx(whole.criterion(True), abs=1e-8)
    together = evaluate(joined(*halves), shape, d, none).answer
    assert together.criterion(True) == pytest.approx(whole.criterion(True), abs=1e-8)


def test_whole_sites_answer_for_a_model_with_sites():
    frame = cohort(clients=60, seed=4)
    model = MixedModel("y", "1 + time12", (Varies("client_key", "1 + time12"), Varies("site", "1")))
    fit = fit_mixed(frame, model)
    sums, shape = fit.solved.sums, fit.solved.shape
    d, ds = np.array([[1.0, 0.2], [0.2, 0.5]]), np.array([[0.3]])
    whole = answer(sums, shape, d, ds)
    added = None
    for site in range(len(sums.starts)):
        weight = np.zeros(len(sums.starts))
        weight[site] = 1.0
        one = answer(sums.weighted(sums.weight, weight, sums.total), shape, d, ds)
        added = one if added is None else added + one
    assert added.criterion(True) == pytest.approx(whole.criterion(True), abs=1e-8)
    assert added.n == whole.n


def test_groups_held_as_patterns_give_the_same_fit():
    fit, sums, shape = _fitted()
    patterns = as_patterns(sums)
    assert len(patterns.rows) < len(sums.rows)
    again = solve(patterns, shape, fit.solved.basis, True, "drop")
    assert again.found.value == pytest.approx(fit.solved.found.value, abs=1e-8)
    assert again.linear.psi == pytest.approx(fit.solved.linear.psi, rel=1e-8)
    assert again.linear.adjusted == pytest.approx(fit.solved.linear.adjusted, rel=1e-8, abs=1e-12)


PER_CLIENT = """
with centred as (
  select client_key, time12 - c_t as t, adherence - c_x as x, y - c_y as y
  from rows cross join (select avg(time12) as c_t, avg(adherence) as c_x, avg(y) as c_y from rows)
)
select client_key, count(*) as n, sum(t) as t, sum(t * t) as tt, sum(x) as x, sum(y) as y,
  sum(t * x) as tx, sum(t * y) as ty, sum(x * x) as xx, sum(x * y) as xy, sum(y * y) as yy
from centred group by client_key order by client_key
"""


def _from_sql(frame):
    connection = duckdb.connect()
    connection.register("rows", frame.to_arrow())
    made = connection.sql(PER_CLIENT).pl()
    c = connection.sql("select avg(time12), avg(adherence), avg(y) from rows").pl().row(0)
    col = {name: made[name].cast(pl.Float64).to_numpy() for name in made.columns if name != "client_key"}
    n, t, tt = col["n"], col["t"], col["tt"]
    a = np.column_stack([n, t, col["x"], col["y"]])
    b = np.column_stack([t, tt, col["tx"], col["ty"]])
    s = {name: v.sum() for name, v in col.items()}
    total = np.array(
        [
            [s["n"], s["t"], s["x"], s["y"]],
            [s["t"], s["tt"], s["tx"], s["ty"]],
            [s["x"], s["tx"], s["xx"], s["xy"]],
            [s["y"], s["ty"], s["xy"], s["yy"]],
        ]
    )
    return n, t, tt, a, b, total, {"centres": [0.0, c[0], c[1], c[2]], "t_centre": c[0]}


def _equal(fit, sql):
    for column in ("estimate", "std_error", "df"):
        assert sql.mean_terms[column].to_numpy() == pytest.approx(fit.mean_terms[column].to_numpy(), rel=1e-7)
    assert sql.log_likelihood == pytest.approx(fit.log_likelihood, abs=1e-7)
    assert sql.residual_sd == pytest.approx(fit.residual_sd, rel=1e-8)
    assert sql.covariance("client_key")[1] == pytest.approx(fit.covariance("client_key")[1], rel=1e-6)


def test_sums_from_sql_give_the_fit_of_the_rows():
    frame = cohort(clients=80, seed=5, whole_weeks=True)
    fit = fit_mixed(frame, MixedModel("y", "1 + time12 + adherence", (Varies("client_key", "1 + time12"),)))
    n, t, tt, a, b, total, centres = _from_sql(frame)
    _equal(fit, fit_from_sums(group_sums(n, t, tt, a, b, total), fit.model, fit.terms, **centres))


def _patterns(n, t, tt, a, b):
    """What the second GROUP BY, on (n, sum t, sum t^2), returns."""
    key = np.column_stack([n, t.round(9), tt.round(9)])
    _, first, which = np.unique(key, axis=0, return_index=True, return_inverse=True)
    which = which.reshape(-1)
    products = tuple(np.zeros((len(first), a.shape[1], a.shape[1])) for _ in range(3))
    for i, k in enumerate(which):
        cross = np.outer(a[i], b[i])
        terms = np.outer(a[i], a[i]), (cross + cross.T) / 2, np.outer(b[i], b[i])
        for each, term in zip(products, terms, strict=True):
            each[k] += term
    return n[first], t[first], tt[first], np.bincount(which).astype(float), products


def test_sums_of_patterns_give_the_fit_of_the_rows():
    frame = cohort(clients=80, seed=5, whole_weeks=True)
    fit = fit_mixed(frame, MixedModel("y", "1 + time12 + adherence", (Varies("client_key", "1 + time12"),)))
    *each, total, centres = _from_sql(frame)
    made = _patterns(*each)
    assert len(made[0]) < fit.n_groups["client_key"]
    _equal(fit, fit_from_sums(pattern_sums(*made, total), fit.model, fit.terms, **centres))


def test_shape_lists_the_lower_triangle():
    assert [(e.level, e.a, e.b) for e in Shape(2, True, 1, True).elements] == [
        (0, 0, 0),
        (0, 1, 0),
        (0, 1, 1),
        (1, 0, 0),
    ]
