"""Minimum of a smooth function of a few parameters without derivatives, whose gradient is checked at the end.

For the relative residual SDs: their logarithms are the parameters, so that one step length suits all. Central
differences: Abramowitz and Stegun 1972, 25.3.21 (gradient, fourth order), 25.3.23 and 25.3.27 (second derivatives).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STEP = 0.01  # of the differences: error about STEP^4 / 30 of a parameter, rounding 1e-9 / STEP of the gradient
MAX_STEPS = 60
LONGEST = 1.0  # step of one move
FLAT = 1e-9  # predicted gain, over 1 + |value|, at which it has arrived
REACHED = 1e-7  # the same, still counted as a minimum when no move goes down


class NoMinimum(ArithmeticError):
    """The function goes on falling, or its differences do not settle."""


def differences(value: Callable[[Array], float], at: Array, here: float) -> tuple[Array, Array]:
    """Gradient (r,) and Hessian (r, r) of `value` at a point where it is `here`."""
    count = len(at)
    unit = np.eye(count) * STEP
    up, down = np.array([[value(at + sign * e) for e in unit] for sign in (1.0, -1.0)])
    far = np.array([value(at + 2.0 * e) - value(at - 2.0 * e) for e in unit])
    hessian = np.diag((up - 2.0 * here + down) / STEP**2)
    for i in range(count):
        for j in range(i):
            both = value(at + unit[i] + unit[j]) + value(at - unit[i] - unit[j])
            own = up[i] + down[i] + up[j] + down[j] - 2.0 * here
            hessian[i, j] = hessian[j, i] = (both - own) / (2.0 * STEP**2)
    return (8.0 * (up - down) - far) / (12.0 * STEP), hessian


def minimum(value: Callable[[Array], float], start: Array) -> Array:
    """Newton's method with halved steps; NoMinimum unless the gradient vanishes where the curvature is positive."""
    at, here = np.asarray(start, dtype=float), value(start)
    for _ in range(MAX_STEPS):
        gradient, hessian = differences(value, at, here)
        curvature, axes = np.linalg.eigh(hessian)
        along = axes.T @ gradient
        step = -along / np.maximum(np.abs(curvature), 1e-6 * (1.0 + np.abs(curvature).max()))
        gain = float(-0.5 * along @ step) / (1.0 + abs(here))
        length = float(np.linalg.norm(step))
        at_rest = bool(curvature[0] > 0)
        if at_rest and gain < FLAT:
            return np.asarray(at + axes @ step)
        step = axes @ step * min(1.0, LONGEST / length) if length > 0 else step
        moved = _lower(value, at, step, here)
        if moved is None:
            if at_rest and gain < REACHED:
                return at
            break
        at, here = moved
    raise NoMinimum


def _lower(value: Callable[[Array], float], at: Array, step: Array, here: float) -> tuple[Array, float] | None:
    """First of the halvings of a step that is lower, and the value there; None when none is."""
    for halving in range(30):
        trial = at + step * 0.5**halving
        there = value(trial)
        if there < here:
            return trial, there
    return None


def grid_then_brent(
    value: Callable[[float], float], middle: float, reach: float = 4.0, points: int = 17,
    along: Callable[[Array], list[float]] | None = None,
) -> float:  # fmt: skip
    """Lowest point of a function of one number: the best of a grid over middle +- reach, then Brent's method there.

    along: the function over a whole grid, where that is cheaper; it need not be exact, since it only tells where to
    search: where its lowest point is none by the function itself, that is asked at every point. A value that is not
    finite is no low one. The grid is moved on while its best point is its edge; NoMinimum after ten moves, or where
    the best point is no lower than its neighbours.
    """
    from scipy.optimize import minimize_scalar

    for _ in range(10):
        grid = np.linspace(middle - reach, middle + reach, points)
        best = _lowest([value(float(g)) for g in grid] if along is None else along(grid))
        if along is not None and 0 < best < points - 1 and not _is_low(value, grid, best):
            best = _lowest([value(float(g)) for g in grid])
        if 0 < best < points - 1:
            if not _is_low(value, grid, best):
                raise NoMinimum
            bracket = tuple(float(g) for g in grid[best - 1 : best + 2])
            return float(minimize_scalar(value, bracket=bracket, method="brent", options={"xtol": 1e-6}).x)
        middle = float(grid[best])
    raise NoMinimum


def _lowest(values: Sequence[float]) -> int:
    return int(np.argmin(np.where(np.isfinite(values), values, np.inf)))


def _is_low(value: Callable[[float], float], grid: Array, best: int) -> bool:
    """True where a point inside the grid is lower than both of its neighbours."""
    before, here, after = (value(float(g)) for g in grid[best - 1 : best + 2])
    return here < before and here < after
