"""Fit from sums made elsewhere: a SQL GROUP BY, or another site's answer. No row is needed.

One random intercept and one slope along t by one grouping. Columns are those of the mean other than the constant, then
the outcome; the caller subtracts a centre from each (t, columns, outcome) before forming sums, and names the centres
here, so that large offsets cost no digits. With c columns of the mean beside the constant:
per group (or pattern) n, sum t, sum t^2 and for every column j of (1, x_1 .. x_c, y) a_j = sum col_j and
b_j = sum t col_j; once for all rows the cross-products T_jk = sum col_j col_k. Groups with equal (n, sum t, sum t^2)
may be held as one pattern with their count and sums of a_j a_k, (a_j b_k + a_k b_j) / 2 and b_j b_k: the cost of the
fit then stops growing with clients.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.stats.basis import Basis, orthonormal_from_gram
from pipeline.stats.boundary import Solved, solve
from pipeline.stats.contrasts import mean_table
from pipeline.stats.likelihood import Shape
from pipeline.stats.mixed import log_likelihood
from pipeline.stats.model import CannotFit, DfMethod, Method
from pipeline.stats.optimum import Proof
from pipeline.stats.sums import Sums

Array = NDArray[np.float64]


@dataclass(frozen=True)
class SumsFit:
    """A fit without rows: mean_terms, covariance (2, 2) of (intercept, slope), residual_sd, log_likelihood, proof.

    In the caller's columns (centres taken back), so it equals the fit of the rows.
    """

    mean_terms: pl.DataFrame
    covariance: Array
    residual_sd: float
    log_likelihood: float
    n_rows: int
    zero: bool
    proof: Proof
    solved: Solved


def group_sums(n: Array, t: Array, tt: Array, a: Array, b: Array, total: Array) -> Sums:
    """Sums of groups one by one: n, t, tt (m,); a, b (m, k); total (k, k); k columns (1, x.., y)."""
    return Sums(
        rows=n,
        zz=_two_by_two(n, t, tt),
        zw=np.stack([a, b], axis=1),
        total=total[None],
        starts=np.zeros(1, dtype=np.intp),
        weight=np.ones(len(n)),
        outer_weight=np.ones(1),
        outer_columns=0,
    )


def pattern_sums(
    n: Array, t: Array, tt: Array, count: Array, products: tuple[Array, Array, Array], total: Array
) -> Sums:
    """Sums of groups held as patterns: n, t, tt, count (m,); products = sums over a pattern's groups of
    a_j a_k, (a_j b_k + a_k b_j) / 2, b_j b_k, each (m, k, k); total (k, k)."""
    aa, ab, bb = (each / count[:, None, None] for each in products)
    pairs = np.stack([np.stack([aa, ab], axis=1), np.stack([ab, bb], axis=1)], axis=1)
    return Sums(
        rows=n,
        zz=_two_by_two(n, t, tt),
        zw=None,
        total=total[None],
        starts=np.zeros(1, dtype=np.intp),
        weight=count,
        outer_weight=np.ones(1),
        outer_columns=0,
        pairs=pairs,
    )


def _two_by_two(n: Array, t: Array, tt: Array) -> Array:
    return np.stack([np.stack([n, t], axis=1), np.stack([t, tt], axis=1)], axis=1)


def _basis(sums: Sums, centres: Array, t_centre: float) -> tuple[Sums, Basis]:
    """Standardise by a change of columns: orthonormal mean, outcome less its least-squares fit, whitened (1, t)."""
    p = sums.k - 1
    total = sums.total[0]
    x_map, kept = orthonormal_from_gram(total[:p, :p])
    if len(kept) < p:
        raise CannotFit(
            f"Column {next(j for j in range(p) if j not in kept)} of the mean follows from the earlier ones."
        )
    slope = x_map @ (x_map.T @ total[:p, p])
    rest = total[p, p] - slope @ total[:p, p]
    if rest <= 1e-12 * max(total[p, p], 1e-300):
        raise CannotFit(
            "The terms of the mean reproduce the outcome exactly; nothing is left to estimate a spread from."
        )
    scale = float(np.sqrt(rest / (sums.n - p)))
    w = np.zeros((p + 1, p + 1))
    w[:p, :p], w[:p, p], w[p, p] = x_map, -slope / scale, 1.0 / scale
    z_gram = np.einsum("m,mab->ab", sums.weight, sums.zz) / sums.n
    z_map, z_kept = orthonormal_from_gram(z_gram)
    if len(z_kept) < 2:
        raise CannotFit("The time column is the same in every row; there is no slope to vary.")
    # centres back: col_user = col + centre, so beta_1 of the caller takes -sum centre_j beta_j + centre_y
    back = np.eye(p)
    back[0, 1:] = -centres[1:p]
    shift = back @ slope
    shift[0] += centres[p]
    t_back = np.array([[1.0, -t_centre], [0.0, 1.0]])
    return sums.in_basis(z_map, w, 0), Basis(tuple(range(p)), back @ x_map, shift, scale, t_back @ z_map, np.eye(0))


def fit_sums(
    sums: Sums,
    names: Sequence[str],
    *,
    centres: Sequence[float],
    t_centre: float,
    method: Method = "reml",
    df: DfMethod = "kenward-roger",
) -> SumsFit:
    """Random intercept and slope from sums. names: terms of the mean, the constant first; centres: of
    (constant = 0, x.., y), what was subtracted before the sums were formed; t_centre likewise of t."""
    if len(names) != sums.k - 1 or len(centres) != sums.k:
        raise CannotFit(
            f"The sums have {sums.k - 1} terms and an outcome; got {len(names)} names, {len(centres)} centres."
        )
    if not np.isfinite(sums.total).all():
        raise CannotFit("A sum is infinite or missing; a row behind it is. Leave such rows out of the GROUP BY.")
    standard, basis = _basis(sums, np.asarray(centres, dtype=float), t_centre)
    solved = solve(standard, Shape(2, True, 0, True), basis, method == "reml", "drop")
    residual_sd = float(np.sqrt(solved.linear.sigma2)) * basis.scale
    return SumsFit(
        mean_terms=mean_table(solved, tuple(names), df if method == "reml" else "satterthwaite"),
        covariance=residual_sd**2 * basis.z @ solved.d @ basis.z.T,
        residual_sd=residual_sd,
        log_likelihood=log_likelihood(solved),
        n_rows=round(sums.n),
        zero=solved.zero[0],
        proof=solved.proof,
        solved=solved,
    )
