"""Derivatives in the lower factors Lambda of D = Lambda Lambda', and the directions left on the edge of singular D."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.stats.likelihood import Shape

Array = NDArray[np.float64]

ZERO_BELOW = 1e-7  # share of the residual variance, in standardised random columns


def jacobian(shape: Shape, theta: Array) -> Array:
    """Derivative (r, r) of the elements of D, rows, in the free elements of Lambda, columns."""
    elements, factors = shape.elements, shape.factors(theta)
    out = np.zeros((len(elements), len(elements)))
    for j, c in enumerate(elements):
        factor = factors[c.level]
        for r, e in enumerate(elements):
            if e.level == c.level:
                out[r, j] = (e.a == c.a) * factor[e.b, c.b] + (e.b == c.a) * factor[e.a, c.b]
    return out


def curvature(shape: Shape, gradient: Array) -> Array:
    """What a gradient in D adds to the Hessian in Lambda (r, r), by the second derivatives of Lambda Lambda'."""
    elements = shape.elements
    slope = {(e.level, e.a, e.b): g for e, g in zip(elements, gradient, strict=True)}
    out = np.zeros((len(elements), len(elements)))
    for j, c in enumerate(elements):
        for i, f in enumerate(elements):
            if f.level == c.level and f.b == c.b:
                g = slope.get((c.level, max(c.a, f.a), min(c.a, f.a)), 0.0)
                out[i, j] = 2.0 * g if c.a == f.a else g
    return out


def in_theta(shape: Shape, theta: Array, gradient: Array, hessian: Array) -> tuple[Array, Array]:
    """Derivatives in the free elements of Lambda from those in the elements of D = Lambda Lambda'."""
    change = jacobian(shape, theta)
    return change.T @ gradient, change.T @ hessian @ change + curvature(shape, gradient)


def snapped(d: Array, correlated: bool) -> tuple[Array, Array | None]:
    """(D with variances that are zero but for rounding set to 0, the directions with variance or None if all are)."""
    if not correlated:
        used = np.diag(d) > ZERO_BELOW
        return np.where(np.diag(used), d, 0.0), None if used.all() else np.eye(len(d))[:, used]
    values, vectors = np.linalg.eigh(d)
    used = values > ZERO_BELOW
    if used.all():
        return d, None
    return (vectors[:, used] * values[used]) @ vectors[:, used].T, vectors[:, used]


def tangent(shape: Shape, used: tuple[Array | None, Array | None]) -> Array:
    """Directions (r, t) in which the elements of D can move without leaving the edge it stands on.

    A symmetric change S keeps the rank where n'S n = 0 for every direction n of zero variance.
    """
    columns = []
    for level, left in enumerate(used):
        size = (shape.q, shape.qs)[level]
        rows = [i for i, e in enumerate(shape.elements) if e.level == level]
        gone = np.eye(size) if left is None else np.eye(size) - left @ left.T
        allowed = np.zeros((len(rows), 0))
        if rows:
            # the map S -> gone S gone; what it sends to 0 is allowed
            images = np.array([(gone @ shape.unit(shape.elements[i]) @ gone).ravel() for i in rows]).T
            images = np.zeros_like(images) if left is None else images
            _, values, vectors = np.linalg.svd(images)
            rank = int((values > 1e-9).sum())
            allowed = vectors[rank:].T
        block = np.zeros((len(shape.elements), allowed.shape[1]))
        block[rows] = allowed
        columns.append(block)
    return np.concatenate(columns, axis=1)
