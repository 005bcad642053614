"""Find the optimum of the criterion, and prove it.

A trust-region Newton walk over the lower factors Lambda of D = Lambda Lambda'. In these coordinates a zero variance is
always a stationary point, and it is a minimum exactly when the one-sided derivative in D is not negative: that is the
sign of the Hessian's eigenvalue there, so the walk leaves a false zero along the negative curvature and stays on a
true one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.stats.derivatives import Pieces, pieces, slopes
from pipeline.stats.likelihood import Point, Shape, evaluate
from pipeline.stats.sums import Sums

Array = NDArray[np.float64]

EXACT_WORK = 300_000  # groups * columns^2 below which second derivatives are exact in every step
MAX_STEPS = 200


@dataclass(frozen=True)
class Proof:
    """Why the fit counts as converged.

    gradient_norm: length of the gradient of -2 log-likelihood in the standardised factors. newton_decrement: what one
    more step would gain. smallest_hessian_eigenvalue: > 0 at a minimum. restart_agreement: largest difference in
    -2 log-likelihood between walks from different starts. steps: evaluations with derivatives of the walk kept.
    """

    gradient_norm: float
    newton_decrement: float
    smallest_hessian_eigenvalue: float
    restart_agreement: float
    steps: int
    converged: bool


@dataclass(frozen=True)
class Optimum:
    """theta: free elements of (Lambda, Lambda_s); point and pieces (exact) there; value = -2 log-likelihood."""

    theta: Array
    point: Point
    made: Pieces
    value: float
    gradient: Array
    hessian: Array
    steps: int
    decrement: float


def in_theta(shape: Shape, theta: Array, gradient: Array, hessian: Array) -> tuple[Array, Array]:
    """Derivatives in the free elements of Lambda from those in the elements of D = Lambda Lambda'."""
    elements, factors = shape.elements, shape.factors(theta)
    count = len(elements)
    jacobian = np.zeros((count, count))
    second = np.zeros((count, count))
    slope = {(e.level, e.a, e.b): g for e, g in zip(elements, gradient, strict=True)}
    for j, c in enumerate(elements):
        factor = factors[c.level]
        for r, e in enumerate(elements):
            if e.level == c.level:
                jacobian[r, j] = (e.a == c.a) * factor[e.b, c.b] + (e.b == c.a) * factor[e.a, c.b]
        for i, f in enumerate(elements):
            if f.level == c.level and f.b == c.b:
                g = slope.get((c.level, max(c.a, f.a), min(c.a, f.a)), 0.0)
                second[i, j] = 2.0 * g if c.a == f.a else g
    return jacobian.T @ gradient, jacobian.T @ hessian @ jacobian + second


def _step(gradient: Array, hessian: Array, radius: float) -> tuple[Array, float]:
    """Minimiser of the quadratic model within the radius, and its predicted gain (> 0)."""
    values, vectors = np.linalg.eigh(hessian)
    along = vectors.T @ gradient
    if values[0] > 0:
        step = -along / values
        if step @ step <= radius * radius:
            return vectors @ step, float(-(along @ step + 0.5 * values @ step**2))
    if values[0] <= 0 and abs(along[0]) < 1e-10 * (1.0 + np.abs(along).max()):
        along = along.copy()
        along[0] = 0.0  # stationary along the falling direction: step out along it
    low = max(0.0, -float(values[0]))
    high = low + float(np.linalg.norm(along)) / radius + 1e-12
    low_edge = low
    for _ in range(100):
        shift = 0.5 * (low_edge + high)
        denominator = values + shift
        step = -along / np.where(denominator > 0, denominator, np.inf)
        if step @ step > radius * radius:
            low_edge = shift
        else:
            high = shift
    step = -along / np.where(values + high > 0, values + high, np.inf)
    missing = radius * radius - step @ step
    if values[0] < 0 and missing > 1e-6 * radius * radius:
        step = step.copy()
        step[0] += np.sqrt(missing) * (-1.0 if along[0] > 0 else 1.0)
    return vectors @ step, float(-(along @ step + 0.5 * values @ step**2))


def _at(sums: Sums, shape: Shape, theta: Array) -> Point:
    factor, outer = shape.factors(theta)
    return evaluate(sums, shape, factor @ factor.T, outer @ outer.T)


def _derivatives(point: Point, theta: Array, reml: bool, exact: bool) -> tuple[Pieces, Array, Array]:
    made = pieces(point, exact)
    return made, *in_theta(point.shape, theta, *slopes(point, made, reml))


def walk(sums: Sums, shape: Shape, reml: bool, theta: Array, *, coarse: bool = False) -> Optimum:
    """Walk to a minimum from theta. coarse stops once a further step would gain less than 1e-7 (for restarts)."""
    small = len(sums.rows) * sums.k**2 <= EXACT_WORK
    exact = small and not coarse
    point = _at(sums, shape, theta)
    value = point.answer.criterion(reml)
    radius = max(1.0, float(np.linalg.norm(theta)))
    made, gradient, hessian = _derivatives(point, theta, reml, exact)
    steps, gain, noise = 1, np.inf, 1e-14 * (1.0 + abs(value))
    for _ in range(MAX_STEPS if len(theta) else 0):
        step, gain = _step(gradient, hessian, radius)
        if coarse and gain < 1e-7:
            break
        if not exact and not coarse and gain < 1e-5:
            exact = True
            made, gradient, hessian = _derivatives(point, theta, reml, exact)
            continue
        if gain <= noise and steps > 1:
            break
        new_point = _at(sums, shape, theta + step)
        new = new_point.answer.criterion(reml)
        fall = value - new
        if np.isfinite(new) and fall >= 0.1 * gain - 100 * noise:
            if fall > 0.75 * gain and np.linalg.norm(step) > 0.8 * radius:
                radius *= 3.0
            theta, point, value = theta + step, new_point, new
            made, gradient, hessian = _derivatives(point, theta, reml, exact)
            steps += 1
            if gain < 1e-13 * (1.0 + abs(value)):
                break
        else:
            radius = 0.3 * float(np.linalg.norm(step))
            if radius < 1e-14:
                break
    if made.q is None and not coarse:
        made, gradient, hessian = _derivatives(point, theta, reml, True)
    return Optimum(theta, point, made, value, gradient, hessian, steps, float(gain))


def starts(shape: Shape) -> list[Array]:
    """Two starts in standardised columns: random part as large as the residual, and a tenth of it."""
    diagonal = np.array([1.0 if e.a == e.b else 0.0 for e in shape.elements])
    return [diagonal, 0.3 * diagonal]


def best(sums: Sums, shape: Shape, reml: bool) -> tuple[Optimum, Proof]:
    """The best of the walks from every start, and its proof."""
    if not shape.elements:
        only = walk(sums, shape, reml, np.zeros(0))
        return only, Proof(0.0, 0.0, float("inf"), 0.0, 1, bool(np.isfinite(only.value)))
    first, *others = starts(shape)
    found = walk(sums, shape, reml, first)
    ends = [walk(sums, shape, reml, start, coarse=True) for start in others]
    for end in ends:
        if end.value < found.value - 1e-6:
            found = walk(sums, shape, reml, end.theta)
    return found, proof(found, max(abs(end.value - found.value) for end in ends))


def proof(found: Optimum, agreement: float) -> Proof:
    """Gradient, decrement and curvature at an end point."""
    lowest = float(np.linalg.eigvalsh(found.hessian)[0]) if len(found.theta) else float("inf")
    norm = float(np.linalg.norm(found.gradient))
    scale = 1.0 + abs(found.value)
    decrement = _step(found.gradient, found.hessian, 1.0)[1] if len(found.theta) else 0.0
    good = bool(np.isfinite(found.value) and decrement < 1e-9 * scale and lowest > -1e-6 * scale)
    return Proof(norm, decrement, lowest, agreement, found.steps, good)
