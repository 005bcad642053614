"""Cluster-robust covariance CR2 with Satterthwaite df (Pustejovsky and Tipton 2018, J Bus Econ Stat 36:672-683).

Clusters are the groups of the outermost grouping, the working model is the fit. With H = V/sigma^2 and
Phi = (X'H^-1X)^-1, each cluster has A = D'(D(H - X Phi X')D')^(+1/2) D, H = D'D, and gives G = X'H^-1 A;
covariance = Phi [sum G e e' G'] Phi. Rows that lie outside the span of [Z, X] of a cluster change nothing, so clusters
larger than that span are first turned into it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from pipeline.stats.boundary import Solved
from pipeline.stats.contrasts import Contrast, as_rows, t_quantile
from pipeline.stats.model import CannotFit

if TYPE_CHECKING:
    from pipeline.stats.mixed import MixedFit

Array = NDArray[np.float64]

LARGEST_CLUSTER = 3000  # directions of one cluster; its matrices have that size squared


@dataclass(frozen=True)
class Robust:
    """Cluster pieces in standardised columns: score (g, p) = G e; lift: G per cluster; h and x per cluster."""

    solved: Solved
    score: Array
    lift: tuple[Array, ...]
    h: tuple[Array, ...]
    x: tuple[Array, ...]

    @property
    def covariance(self) -> Array:
        """CR2 covariance of the standardised coefficients (p, p)."""
        phi = self.solved.linear.phi / self.solved.linear.sigma2
        return np.asarray(phi @ self.score.T @ self.score @ phi)

    def df(self, row: Array) -> float:
        """Satterthwaite df of one standardised contrast under the working model."""
        phi = self.solved.linear.phi / self.solved.linear.sigma2
        p = [g.T @ (phi @ row) for g in self.lift]
        t = np.array([v @ h @ v for v, h in zip(p, self.h, strict=True)])
        x = np.array([x.T @ v for v, x in zip(p, self.x, strict=True)])
        leverage = np.einsum("gi,ij,gj->g", x, phi, x)
        cross = phi @ (x.T @ x)
        total = t.sum() - leverage.sum()
        square = (t**2).sum() - 2.0 * (t * leverage).sum() + float(np.sum(cross * cross.T))
        return float(total**2 / square)


def _cluster(z: Array, d: Array, x: Array, residual: Array, phi: Array) -> tuple[Array, Array, Array, Array]:
    """(score (p,), G (p, r), H (r, r), X (r, p)) of one cluster with H = I + z d z'."""
    columns = np.concatenate([z, x], axis=1)
    if len(x) > columns.shape[1]:
        turn = np.linalg.qr(columns)[0]
        z, x, residual = turn.T @ z, turn.T @ x, turn.T @ residual
    if len(x) > LARGEST_CLUSTER:
        raise CannotFit(f"A cluster of {len(x)} directions is too large for CR2; use the bootstrap of whole groups.")
    h = np.eye(len(x)) + z @ d @ z.T
    upper = np.linalg.cholesky(h).T
    values, vectors = np.linalg.eigh(upper @ (h - x @ phi @ x.T) @ upper.T)
    power = np.where(values > 1e-10 * max(values.max(), 1e-300), values, np.inf) ** -0.5
    adjust = upper.T @ (vectors * power) @ vectors.T @ upper
    lift = np.linalg.solve(h, x).T @ adjust
    return lift @ residual, lift, h, x


def robust(fit: MixedFit) -> Robust:
    """Prepare CR2 of a fit; clusters are the outermost groups."""
    solved = fit.solved
    qs = solved.sums.outer_columns
    outer, x, y = fit.standard.outer, fit.standard.x, fit.standard.y
    z = fit.standard.z
    phi = solved.linear.phi / solved.linear.sigma2
    residual = y + x @ solved.linear.w[:-1]
    rows = np.append(fit.rows.inner_starts, len(y))
    two_levels = len(fit.model.varies) == 1
    bounds = np.arange(len(rows)) if two_levels else np.append(fit.rows.outer_starts, len(rows) - 1)
    pieces = []
    for first, last in pairwise(bounds):
        part = slice(rows[first], rows[last])
        sizes = np.diff(rows[first : last + 1])
        wide = _blocks(z[part], sizes)
        inner = np.kron(np.eye(len(sizes)), solved.found.point.d)
        d = np.zeros((inner.shape[0] + qs,) * 2)
        d[: len(inner), : len(inner)], d[len(inner) :, len(inner) :] = inner, solved.found.point.ds
        pieces.append(_cluster(np.concatenate([wide, outer[part]], axis=1), d, x[part], residual[part], phi))
    score, lift, h, xs = zip(*pieces, strict=True)
    return Robust(solved, np.array(score), lift, h, xs)


def _blocks(z: Array, sizes: Array) -> Array:
    """Block-diagonal columns of the groups that stand one below the other in z."""
    q = z.shape[1]
    out = np.zeros((len(z), q * len(sizes)))
    row = 0
    for i, size in enumerate(sizes):
        out[row : row + size, i * q : (i + 1) * q] = z[row : row + size]
        row += size
    return out


def robust_contrast(
    fit: MixedFit, weights: Mapping[str, float] | Array, level: float = 0.95, made: Robust | None = None
) -> Contrast:
    """One contrast with the CR2 standard error and its Satterthwaite df. made: a `robust` to use again."""
    made = made or robust(fit)
    row = as_rows(fit, weights)
    standard = fit.solved.basis.contrast(row)[0]
    estimate = float(standard @ -fit.solved.linear.w[:-1] + row[0] @ fit.solved.basis.shift)
    error = float(np.sqrt(standard @ made.covariance @ standard))
    df = made.df(standard)
    half = float(t_quantile(0.5 + level / 2.0, np.asarray(df))) * error
    t = estimate / error
    return Contrast(estimate, error, df, estimate - half, estimate + half, t, float(2.0 * special.stdtr(df, -abs(t))))


def robust_terms(fit: MixedFit, level: float = 0.95) -> pl.DataFrame:
    """term, estimate, std_error, df, low, high of every identified term by CR2."""
    made = robust(fit)
    rows = []
    for j in fit.solved.basis.kept:
        one = robust_contrast(fit, np.eye(len(fit.terms))[j], level, made)
        rows.append((fit.terms[j], one.estimate, one.std_error, one.df, one.low, one.high))
    return pl.DataFrame(rows, schema=["term", "estimate", "std_error", "df", "low", "high"], orient="row")
