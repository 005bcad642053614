"""Derivatives in the lower factors Lambda of D = Lambda Lambda', and the directions left on the edge of singular D."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from pipeline.stats.likelihood import Shape

Array = NDArray[np.float64]

ZERO_BELOW = 1e-7  # share of the residual variance, in standardised random columns


@lru_cache(maxsize=64)
def _tensors(shape: Shape) -> tuple[Array, Array]:
    """(first (r, j, k), second (j, i, r)): d D_r / d theta_j = first theta, and the second derivatives of D_r."""
    elements = shape.elements
    place = {(e.level, e.a, e.b): i for i, e in enumerate(elements)}
    count = len(elements)
    first, second = np.zeros((count, count, count)), np.zeros((count, count, count))
    for j, c in enumerate(elements):
        for r, e in enumerate(elements):
            if e.level != c.level:
                continue
            # D_ab = sum over columns of L_a. L_b.
            for own, other in ((e.a, e.b), (e.b, e.a)):
                if own == c.a and (c.level, other, c.b) in place:
                    first[r, j, place[c.level, other, c.b]] += 1.0
        for i, f in enumerate(elements):
            pair = (c.level, max(c.a, f.a), min(c.a, f.a))
            if f.level == c.level and f.b == c.b and pair in place:
                second[j, i, place[pair]] = 2.0 if c.a == f.a else 1.0
    return first, second


def jacobian(shape: Shape, theta: Array) -> Array:
    """Derivative (r, r) of the elements of D, rows, in the free elements of Lambda, columns."""
    return np.asarray(_tensors(shape)[0] @ theta)


def curvature(shape: Shape, gradient: Array) -> Array:
    """What a gradient in D adds to the Hessian in Lambda (r, r), by the second derivatives of Lambda Lambda'."""
    return np.asarray(_tensors(shape)[1] @ gradient)


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
