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

from pipeline.stats.derivatives import Pieces, cheap_slopes, pieces, slopes, solve
from pipeline.stats.factors import in_theta
from pipeline.stats.likelihood import Point, Shape, evaluate
from pipeline.stats.sums import Sums

Array = NDArray[np.float64]

MAX_STEPS = 200
FEW = 50  # groups per column under which what the mean's terms add to the Hessian is worth having
MANY = 100  # groups from which the second walk starts near the first one's end, and not from a guess of its own
RESTART_STOP = 1e-7  # the same for a second walk, whose end is only compared
STOP_GAIN = 1e-16  # predicted gain, as a share of -2 log-likelihood, of the last step taken


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
class Walk:
    """Where a walk ended: theta, the point and -2 log-likelihood there, steps taken, and the tilt it used or found."""

    theta: Array
    point: Point
    value: float
    steps: int
    tilt: Array


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
    for _ in range(60):
        shift = 0.5 * (low_edge + high)
        denominator = values + shift
        step = -along / np.where(denominator > 0, denominator, np.inf)
        if step @ step > radius * radius:
            low_edge = shift
        else:
            high = shift
            if step @ step > 0.81 * radius * radius:
                break
    step = -along / np.where(values + high > 0, values + high, np.inf)
    missing = radius * radius - step @ step
    if values[0] < 0 and missing > 1e-6 * radius * radius:
        step = step.copy()
        step[0] += np.sqrt(missing) * (-1.0 if along[0] > 0 else 1.0)
    return vectors @ step, float(-(along @ step + 0.5 * values @ step**2))


def _at(sums: Sums, shape: Shape, theta: Array) -> Point:
    factor, outer = shape.factors(theta)
    return evaluate(sums, shape, factor @ factor.T, outer @ outer.T)


def walk(
    sums: Sums, shape: Shape, reml: bool, theta: Array, tilt: Array | None = None, stop: float = STOP_GAIN
) -> Walk:
    """Walk to a minimum from theta.

    Steps use the exact gradient. The Hessian is exact too where that costs little; else it is the cheap one and tilt
    (r, r), what an exact Hessian in d adds to it near the optimum: given, or (None) found where the walk comes close,
    and found anew when the steps no longer shrink fast.
    """
    point = _at(sums, shape, theta)
    value = point.answer.criterion(reml)
    radius = max(1.0, float(np.linalg.norm(theta)))
    whole = tilt is None and not shape.qs and sums.zw is not None and len(sums.rows) < FEW * sums.k
    own = np.zeros((len(theta), len(theta))) if tilt is None else tilt
    tilted_at = 0 if tilt is None else 1
    noise, gain, before = 1e-12 * (1.0 + abs(value)), np.inf, np.inf
    steps = 0
    while steps < MAX_STEPS and len(theta):
        steps += 1
        # the first step is never exact: where the likelihood is flat that Hessian is rounding, its step goes anywhere
        gradient, hessian = cheap_slopes(point, reml, whole and steps > 1)
        if steps > 1 and gain >= 1.0 and own.any():
            own, tilted_at = np.zeros_like(own), 0  # far from where the tilt was found it misleads
        slow = gain > max(0.05 * before, noise) and steps > tilted_at + (1 if gain < 1e-2 else 4)
        if not whole and gain < 1.0 and (tilted_at == 0 or slow):
            own, tilted_at = cheap_slopes(point, reml, exact=True)[1] - hessian, steps
        step, gain, radius, moved = _next(sums, shape, reml, theta, (gradient, hessian + own), (value, radius, noise))
        if moved is None:
            break
        theta, point, value = theta + step, moved[0], moved[1]
        # Newton's gains fall as gain -> gain^2: with an exact Hessian the next one is known without a step
        ahead = 1e4 * gain * (gain / before) ** 2 if whole and gain < 1e-2 * before < 1e-2 else gain
        if min(gain, ahead) < stop * (1.0 + abs(value)) or (gain < noise and gain > 0.5 * before):
            break
        before = gain
    return Walk(theta, point, value, steps, own)


def _next(
    sums: Sums, shape: Shape, reml: bool, theta: Array, slope: tuple[Array, Array], at: tuple[float, float, float]
) -> tuple[Array, float, float, tuple[Point, float] | None]:
    """(step, its predicted gain, new radius, the point there and its value); None when no step goes down."""
    value, radius, noise = at
    gradient, hessian = in_theta(shape, theta, *slope)
    while radius > 1e-14 * (1.0 + float(np.linalg.norm(theta))):
        step, gain = _step(gradient, hessian, radius)
        new_point = _at(sums, shape, theta + step)
        new = new_point.answer.criterion(reml)
        length = float(np.linalg.norm(step))
        if np.isfinite(new) and value - new >= 0.1 * gain - noise:
            grow = value - new > 0.7 * gain and length > 0.8 * radius
            return step, gain, radius * 4.0 if grow else radius, (new_point, new)
        radius = 0.25 * min(length, radius)
    return np.zeros_like(theta), 0.0, radius, None


def tilt_at(point: Point, reml: bool) -> Array:
    """What an exact Hessian in d (r, r) adds to the cheap one."""
    return np.asarray(cheap_slopes(point, reml, exact=True)[1] - cheap_slopes(point, reml)[1])


def settled(end: Walk, reml: bool) -> Optimum:
    """Exact second derivatives at the end of a walk."""
    made = pieces(end.point)
    gradient, hessian = in_theta(end.point.shape, end.theta, *slopes(end.point, made, reml))
    gain = _step(gradient, hessian, 1.0)[1] if len(end.theta) else 0.0
    return Optimum(end.theta, end.point, made, end.value, gradient, hessian, end.steps, gain)


def starts(sums: Sums, shape: Shape, reml: bool) -> list[Array]:
    """Two starts: the ratio of between to within variance guessed from a nearly free fit per group; a third of it."""
    diagonal = np.array([1.0 if e.a == e.b else 0.0 for e in shape.elements])
    free = _at(sums, shape, 100.0 * diagonal).answer
    used = float(sums.full_weight @ np.minimum(sums.rows, shape.q)) + len(free.s)
    within = solve(free.s)[2] / max(sums.n - used, 0.1 * sums.n)
    ratio = np.clip((1.0 - within) / within / max(shape.q, 1), 0.05, 1e6) if within > 0 else 1.0
    return [diagonal * np.sqrt(ratio), diagonal * np.sqrt(ratio) / 3.0]


def best(sums: Sums, shape: Shape, reml: bool) -> tuple[Optimum, Proof]:
    """The best of the walks from two starts, and its proof."""
    if not shape.elements:
        only = settled(walk(sums, shape, reml, np.zeros(0)), reml)
        return only, Proof(0.0, 0.0, float("inf"), 0.0, 1, bool(np.isfinite(only.value)))
    first, *others = starts(sums, shape, reml)
    # what the mean's terms add to the Hessian is of the order terms / groups: not worth finding where that is small
    none = None if len(sums.rows) < FEW * sums.k else np.zeros((len(first), len(first)))
    ends = [walk(sums, shape, reml, first, none)]
    if len(sums.rows) >= MANY:
        others = [0.7 * ends[0].theta + 0.1 * (first > 0)]
    tilt = ends[0].tilt if ends[0].tilt.any() else none
    ends += [walk(sums, shape, reml, start, tilt, RESTART_STOP) for start in others]
    chosen = min(ends, key=lambda end: end.value)
    if chosen.value > ends[0].value - 1e-8 * (1.0 + abs(chosen.value)):
        chosen = ends[0]
    else:
        chosen = walk(sums, shape, reml, chosen.theta)
    found = settled(chosen, reml)
    return found, proof(found, max(abs(end.value - chosen.value) for end in ends))


def proof(found: Optimum, agreement: float) -> Proof:
    """Gradient, decrement and curvature at an end point."""
    lowest = float(np.linalg.eigvalsh(found.hessian)[0]) if len(found.theta) else float("inf")
    norm = float(np.linalg.norm(found.gradient))
    scale = 1.0 + abs(found.value)
    good = bool(np.isfinite(found.value) and found.decrement < 1e-10 * scale and lowest > -1e-6 * scale)
    return Proof(norm, found.decrement, lowest, agreement, found.steps, good)
