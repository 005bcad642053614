"""Cluster-robust contrasts of a fit with case weights, bias-reduced in the way of CR2, with Satterthwaite df.

With V held at that of the weighted fit, A_i = X_i'V_i^-1X_i and r_i = X_i'V_i^-1y_i of each person and weight c_i:
    b = B sum c_i r_i,  B = (sum c_i A_i)^-1,  M = sum c_i^2 A_i,  covariance = B [sum c_i^2 G_i s_i s_i' G_i'] B,
s_i = r_i - A_i b. Were V right, Var(s_i) = S_i = A_i - c_i A_i B A_i - c_i A_i B A_i + A_i B M B A_i; G_i = L (L^-1 S_i
L^-T)^(-1/2) L^-1 with A_i = L L' brings it to A_i, so that the covariance is then without bias. Equal weights give CR2
(Pustejovsky and Tipton 2018, J Bus Econ Stat 36:672-683) up to the root that is taken; the derivation with weights of
people that are not those of V is ours.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import special

from pipeline.stats.contrasts import Contrast, as_rows, t_quantile
from pipeline.stats.held import held

if TYPE_CHECKING:
    from pipeline.stats.mixed import MixedFit

Array = NDArray[np.float64]
FLAT = 1e-10  # share of the largest eigenvalue under which a direction is not there


@dataclass(frozen=True)
class WeightedRobust:
    """Standardised columns: b (p,), B (p, p), M (p, p), weight (m,), A (m, p, p), G (m, p, p), s (m, p)."""

    fit: MixedFit
    b: Array
    bread: Array
    middle: Array
    weight: Array
    a: Array
    g: Array
    s: Array

    @property
    def covariance(self) -> Array:
        """Covariance of the standardised coefficients (p, p)."""
        score = self.weight[:, None] * np.einsum("ijk,ik->ij", self.g, self.s)
        return np.asarray(self.bread @ score.T @ score @ self.bread)

    def spread(self, row: Array) -> Array:
        """(m, m) covariance, were V right, of the people's parts of the variance of one standardised contrast."""
        q = self.weight[:, None] * np.einsum("ikj,k->ij", self.g, self.bread @ row)
        z = np.einsum("ijk,ik->ij", self.a, q)
        cross = (z @ self.bread @ z.T) * self.weight[None, :]
        both = z @ self.bread @ self.middle @ self.bread @ z.T
        return np.asarray(np.diag(np.einsum("ij,ij->i", q, z)) - cross - cross.T + both)

    def read(self, weights: Array, level: float = 0.95) -> Contrast:
        """One contrast, weights on the terms of the fit, in the caller's units."""
        asked = as_rows(self.fit, weights)
        basis = self.fit.solved.basis
        row = basis.contrast(asked)[0]
        estimate = float(row @ self.b + asked[0] @ basis.shift)
        error = float(np.sqrt(row @ self.covariance @ row))
        spread = self.spread(row)
        df = float(np.trace(spread) ** 2 / (spread**2).sum())
        half = float(t_quantile(0.5 + level / 2.0, np.asarray(df))) * error
        t = estimate / error
        p = float(2.0 * special.stdtr(df, -abs(t)))
        return Contrast(estimate, error, df, estimate - half, estimate + half, t, p)


def _adjusting(a: Array, weight: Array, bread: Array, middle: Array) -> Array:
    """G of each person (m, p, p); directions that a person does not reach stay 0."""
    values, vectors = np.linalg.eigh(a)
    there = values > FLAT * values.max(axis=1, keepdims=True)
    root = vectors * np.sqrt(np.where(there, values, 0.0))[:, None, :]
    back = vectors * np.where(there, 1.0 / np.sqrt(np.where(there, values, 1.0)), 0.0)[:, None, :]
    turned = np.swapaxes(root, 1, 2)
    one = turned @ bread @ root
    inner = np.eye(a.shape[1]) - 2.0 * weight[:, None, None] * one + turned @ bread @ middle @ bread @ root
    size, axes = np.linalg.eigh(inner)
    power = np.where(size > FLAT, np.abs(np.where(size > FLAT, size, 1.0)) ** -0.5, 0.0)
    half = (axes * power[:, None, :]) @ np.swapaxes(axes, 1, 2)
    return np.asarray(root @ half @ np.swapaxes(back, 1, 2))


def weighted_robust(fit: MixedFit) -> WeightedRobust:
    """Prepare a fit with one grouping and case weights (those of the fit). CannotFit with two groupings."""
    pieces = held(fit)
    weight, a, r = pieces.weight, pieces.pieces[:, :-1, :-1], pieces.pieces[:, :-1, -1]
    bread: Array = np.asarray(np.linalg.inv(np.tensordot(weight, a, axes=1)), dtype=float)
    middle: Array = np.asarray(np.tensordot(weight**2, a, axes=1), dtype=float)
    b = bread @ (weight @ r)
    g = _adjusting(a, weight, bread, middle)
    return WeightedRobust(fit, b, bread, middle, weight, a, g, r - a @ b)
