"""The model of who was given which group, the weights made from it, and what they do to balance."""

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from pipeline.stats import CannotFit
from pipeline.stats.propensity import balance, effective_size, inverse_weights, multinomial, overlap_weights


def made_up(n=400, groups=3, seed=5):
    """Covariates on very different scales, and a group drawn by a known multinomial logistic model."""
    draw = np.random.default_rng(seed)
    x = np.column_stack([np.ones(n), draw.normal(60, 20, n), draw.normal(6.5, 1.2, n), draw.integers(0, 2, n)])
    slopes = np.array([[0.0] * 4, [-1.2, 0.02, 0.0, 0.4], [2.0, -0.03, 0.0, -0.5]])[:groups]
    eta = x @ slopes.T
    chance = np.exp(eta) / np.exp(eta).sum(axis=1, keepdims=True)
    drawn = draw.random(n)
    return x, [("a", "b", "c")[int(np.searchsorted(np.cumsum(p), u))] for p, u in zip(chance, drawn, strict=True)]


def test_three_groups_like_statsmodels():
    """statsmodels MNLogit, Newton: coefficients, standard errors, log-likelihood."""
    from statsmodels.discrete.discrete_model import MNLogit

    x, given = made_up()
    ours = multinomial(x, given)
    theirs = MNLogit(pd.Categorical(given).codes, x).fit(method="newton", disp=False, tol=1e-12)
    assert_allclose(ours.coefficients, np.asarray(theirs.params).T, rtol=1e-8, atol=1e-10)
    assert_allclose(ours.std_errors, np.asarray(theirs.bse).T, rtol=1e-7)
    assert_allclose(ours.probabilities, theirs.predict(x), atol=1e-12)
    assert ours.log_likelihood == pytest.approx(theirs.llf, abs=1e-9)


def test_two_groups_like_statsmodels():
    from statsmodels.discrete.discrete_model import Logit

    x, given = made_up(groups=2)
    theirs = Logit([g == "b" for g in given], x).fit(method="newton", disp=False, tol=1e-12)
    assert_allclose(multinomial(x, given).coefficients[0], theirs.params, rtol=1e-8, atol=1e-10)


def test_a_weight_is_a_count():
    x, given = made_up(n=120)
    counts = np.random.default_rng(1).integers(0, 3, 120)
    again = multinomial(np.repeat(x, counts, axis=0), list(np.repeat(given, counts)))
    seen = counts > 0
    ours = multinomial(x[seen], [g for g, s in zip(given, seen, strict=True) if s], counts[seen].astype(float))
    assert_allclose(ours.coefficients, again.coefficients, rtol=1e-7)
    assert ours.log_likelihood == pytest.approx(again.log_likelihood, abs=1e-8)


def test_a_start_near_by_saves_steps_and_changes_nothing():
    x, given = made_up()
    weight = np.random.default_rng(3).integers(0, 3, len(x)).astype(float)
    seen = weight > 0
    drawn = x[seen], [g for g, s in zip(given, seen, strict=True) if s], weight[seen]
    alone, helped = multinomial(*drawn), multinomial(*drawn, near=multinomial(x, given))
    assert helped.steps < alone.steps
    assert_allclose(helped.coefficients, alone.coefficients, rtol=1e-10, atol=1e-12)


def test_units_do_not_matter():
    x, given = made_up()
    assert_allclose(multinomial(x * [1.0, 1000.0, 1e-3, 1.0], given).probabilities, multinomial(x, given).probabilities,
                    atol=1e-12)  # fmt: skip


def test_overlap_weights_balance_every_mean_exactly():
    """Li, Morgan and Zaslavsky 2018, J Am Stat Assoc 113:390-400, theorem 3: with a logistic model fitted by maximum
    likelihood the weighted means of every covariate in it are equal. Inverse-probability weights do not have that."""
    x, given = made_up(groups=2)
    made = multinomial(x, given)
    is_b = np.array(given) == "b"
    apart = []
    for weight in (overlap_weights(made, given), inverse_weights(made, given)):
        means = [np.average(x[part], axis=0, weights=weight[part]) for part in (is_b, ~is_b)]
        apart.append(np.abs(means[0] - means[1])[1:] / x[:, 1:].std(axis=0))
    assert apart[0].max() < 1e-10
    assert apart[1].max() > 1e-4


def test_overlap_weights_of_two_groups_are_the_chance_of_the_other():
    x, given = made_up(groups=2)
    made = multinomial(x, given)
    other = np.where(np.array(given) == "a", made.of("b"), made.of("a"))
    weight = overlap_weights(made, given)
    for group in ("a", "b"):
        mine = np.array(given) == group
        assert_allclose(weight[mine] / weight[mine].sum(), other[mine] / other[mine].sum(), rtol=1e-12)
        assert weight[mine].mean() == pytest.approx(1.0)


def test_weights_of_three_groups_bring_them_to_the_mean_of_all():
    x, given = made_up(n=4000)
    made = multinomial(x, given)
    weight = inverse_weights(made, given)
    before, after = [], []
    for group in made.groups:
        mine = np.array(given) == group
        before.append(abs(x[mine, 1].mean() - x[:, 1].mean()))
        after.append(abs(np.average(x[mine, 1], weights=weight[mine]) - x[:, 1].mean()))
    assert max(before) > 5.0 and max(after) < 1.0


def test_a_group_that_is_certain_is_refused():
    x, given = made_up(groups=2)
    x = np.column_stack([x, [float(g == "b") for g in given]])
    with pytest.raises(CannotFit, match="no chance of another group is left"):
        multinomial(x, given)


def test_a_column_that_follows_from_others_gets_no_coefficient():
    x, given = made_up()
    more = multinomial(np.column_stack([x, 2 * x[:, 1] - x[:, 2]]), given)
    assert np.isnan(more.coefficients[:, -1]).all()
    assert_allclose(more.coefficients[:, :-1], multinomial(x, given).coefficients, rtol=1e-7)


def test_one_group_is_refused():
    with pytest.raises(CannotFit, match="one group only"):
        multinomial(np.ones((5, 1)), ["a"] * 5)


def test_effective_size_by_hand():
    assert effective_size(np.array([1.0, 1.0, 1.0, 1.0])) == 4.0
    assert effective_size(np.array([3.0, 1.0])) == pytest.approx(16 / 10)


def test_balance_by_hand():
    """Means 2 and 4, both variances 1: two SDs apart; weights that move the second mean to 3 halve that, and the
    denominator stays."""
    one = np.ones(3)
    first, second = np.array([1.0, 2.0, 3.0]), np.array([3.0, 4.0, 5.0])
    seen = balance(first, second, one, one)
    assert (seen.first, seen.second, seen.smd, seen.variance_ratio) == pytest.approx((2.0, 4.0, 2.0, 1.0))
    moved = balance(first, second, one, np.array([1.0, 0.0, 0.0]) + 1e-12)
    assert moved.smd == pytest.approx(1.0)
    assert np.isnan(balance(one, one, one, one).smd)
