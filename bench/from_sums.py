"""Fit from sums alone: standardise them, solve, and give the table of the mean's terms. No row is read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.stats.basis import Basis
from pipeline.stats.boundary import solve
from pipeline.stats.contrasts import mean_table
from pipeline.stats.likelihood import Shape
from pipeline.stats.mixed import log_likelihood
from pipeline.stats.sums import Sums


@dataclass(frozen=True)
class SumsFit:
    """What a fit from sums gives: log-likelihood (REML, caller's units), residual SD, the mean's terms with KR df."""

    log_likelihood: float
    residual_sd: float
    mean_terms: pl.DataFrame


def standard_basis(sums: Sums) -> Basis:
    """Orthonormal mean columns, outcome less its least squares fit at unit SD, time centred at unit SD."""
    total = sums.total.sum(axis=0)
    p = sums.k - 1
    root = np.linalg.cholesky(total[:p, :p])
    x = np.linalg.inv(root).T
    shift = x @ (x.T @ total[:p, p])
    scale = float(np.sqrt((total[p, p] - shift @ total[:p, p]) / (sums.n - p)))
    gram = np.einsum("m,mab->ab", sums.full_weight, sums.zz) / sums.n
    spread = np.sqrt(gram[1, 1] - gram[0, 1] ** 2)
    z = np.array([[1.0, -gram[0, 1] / spread], [0.0, 1.0 / spread]])
    return Basis(tuple(range(p)), x, shift, scale, z, np.eye(0))


def fit_sums(sums: Sums, names: Sequence[str]) -> SumsFit:
    """REML with a correlated intercept and slope per innermost group; sums without outer grouping."""
    basis = standard_basis(sums)
    p = sums.k - 1
    w = np.zeros((p + 1, p + 1))
    w[:p, :p], w[:p, p], w[p, p] = basis.x, -basis.shift / basis.scale, 1.0 / basis.scale
    standard = sums.in_basis(basis.z, w, 0)
    solved = solve(standard, Shape(2, True, 0, True), basis, True, "drop")
    return SumsFit(
        log_likelihood=log_likelihood(solved),
        residual_sd=float(np.sqrt(solved.linear.sigma2)) * basis.scale,
        mean_terms=mean_table(solved, tuple(names), "kenward-roger"),
    )
