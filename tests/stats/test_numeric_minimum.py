"""The search for relative residual SDs ends at a minimum, wherever it begins, or says that there is none."""

import numpy as np
import pytest

from pipeline.stats import fit_mixed
from pipeline.stats.numeric_minimum import NoMinimum, differences, grid_then_brent, minimum
from pipeline.stats.unequal import _criterion, _power, fit_by_group, fit_by_power, fitted_levels
from tests.stats.cohorts import CLIENT_SLOPE, cohort


@pytest.fixture(scope="module")
def equal():
    return fit_mixed(cohort(), CLIENT_SLOPE)


def curved(p):
    return 100.0 * (p[1] - p[0] ** 2) ** 2 + (1.0 - p[0]) ** 2 + np.cosh(p[0])


@pytest.mark.parametrize("start", [(-1.2, 1.0), (3.0, -2.0), (0.0, 0.0)])
def test_a_curved_valley_is_followed_to_its_lowest_point(start):
    found = minimum(curved, np.array(start))
    assert np.sinh(found[0]) == pytest.approx(2.0 * (1.0 - found[0]), abs=1e-6)  # the derivative by hand, along y = x^2
    assert found[1] == pytest.approx(found[0] ** 2, abs=1e-6)


@pytest.mark.parametrize("search", [lambda f: minimum(lambda p: f(p[0]), np.zeros(1)), lambda f: grid_then_brent(f, 0)])
def test_a_function_without_minimum_is_refused(search):
    with pytest.raises(NoMinimum):
        search(lambda x: -x)


def test_of_two_valleys_the_grid_takes_the_deeper():
    deeper = np.roots([4.0, 0.0, -16.0, 1.0]).min()  # of its derivative
    assert grid_then_brent(lambda x: (x * x - 4.0) ** 2 + x, 1.5) == pytest.approx(deeper, abs=1e-6)


def test_a_grid_that_is_not_exact_or_not_finite_leads_no_one_astray():
    """The rough values have their lowest point where the function has none, and one that is not finite."""
    rough = lambda grid: [float("nan") if x > 3 else abs(x + 1.0) for x in grid]  # noqa: E731
    assert grid_then_brent(lambda x: (x - 1.0) ** 2, 0.0, along=rough) == pytest.approx(1.0, abs=1e-6)
    with pytest.raises(NoMinimum):
        grid_then_brent(lambda x: 0.0 if abs(x) < 1 else x * x, 0.0, along=lambda grid: [x * x for x in grid])


def test_the_power_found_is_the_same_from_every_start_and_is_flat(equal):
    level = np.abs(fitted_levels(equal))
    unit = np.log(level).std()
    found = _power(equal, level, None)
    assert [_power(equal, level, p) for p in (-2.0, 0.0, 2.0)] == [pytest.approx(found, abs=1e-6)] * 3
    value = _criterion(equal, lambda p: p[0] * np.log(level))
    gradient, hessian = differences(value, np.array([found]), value(np.array([found])))
    assert hessian.item() > 0
    assert abs(gradient.item()) < 1e-4 * hessian.item() * unit
    assert all(value(np.array([found])) < value(np.array([p])) for p in np.linspace(-4, 4, 9))


def test_the_unit_of_the_outcome_and_the_order_of_rows_change_nothing():
    frame = cohort()
    other = frame.with_columns(y=frame["y"] * 98.0665).reverse()
    power, turned = fit_by_power(frame, CLIENT_SLOPE), fit_by_power(other, CLIENT_SLOPE)
    assert turned.parameters["power"].item() == pytest.approx(power.parameters["power"].item(), abs=1e-6)
    assert turned.statistic == pytest.approx(power.statistic, abs=1e-6)
    groups, turned = fit_by_group(frame, CLIENT_SLOPE, "protocol"), fit_by_group(other, CLIENT_SLOPE, "protocol")
    assert turned.parameters["relative_sd"].to_list() == pytest.approx(groups.parameters["relative_sd"].to_list())
    assert turned.statistic == pytest.approx(groups.statistic, abs=1e-6)
