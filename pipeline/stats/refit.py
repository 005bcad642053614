"""Refits from the sums at hand: leave one group out, bootstrap whole groups. No row is read again.

A weight of 0 takes a group out, a count repeats it. Each refit starts from the full fit's optimum.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.stats.boundary import Solved
from pipeline.stats.derivatives import solve
from pipeline.stats.likelihood import Shape
from pipeline.stats.model import CannotFit
from pipeline.stats.optimum import tilt_at, walk
from pipeline.stats.sums import Sums

if TYPE_CHECKING:
    from pipeline.stats.mixed import MixedFit

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Refit:
    """Coefficients (kept terms,) in the caller's units, their (X'V^-1X)^-1 standard errors, residual_sd, theta.

    All NaN when the weighted rows cannot carry the mean's terms.
    """

    beta: Array
    std_error: Array
    residual_sd: float
    theta: Array


@dataclass(frozen=True)
class Refitter:
    """The sums of a fit, with each group's own W'W (m, k, k)."""

    solved: Solved
    sums: Sums
    shape: Shape
    theta: Array
    tilt: Array
    own: Array

    def by_weights(self, weight: Array, outer_weight: Array | None = None) -> Refit:
        """Refit with these case weights: weight (m,) of innermost groups, outer_weight (s,)."""
        total = np.add.reduceat(self.own * weight[:, None, None], self.sums.starts, axis=0)
        return self._refit(weight, self.sums.outer_weight if outer_weight is None else outer_weight, total)

    def without(self, group: int) -> Refit:
        """Refit without one innermost group."""
        weight = self.sums.weight.copy()
        total = self.sums.total.copy()
        total[self.sums.outer_of[group]] -= weight[group] * self.own[group]
        weight[group] = 0.0
        return self._refit(weight, self.sums.outer_weight, total)

    def without_outer(self, group: int) -> Refit:
        """Refit without one outer group."""
        outer = self.sums.outer_weight.copy()
        outer[group] = 0.0
        return self._refit(self.sums.weight, outer, self.sums.total)

    def _refit(self, weight: Array, outer_weight: Array, total: Array) -> Refit:
        basis = self.solved.basis
        sums = self.sums.weighted(weight, outer_weight, total)
        p = len(basis.kept)
        gram = np.einsum("s,sij->ij", outer_weight, total)[self.shape.qs : -1, self.shape.qs : -1]
        if p and np.linalg.eigvalsh(gram)[0] < 1e-10:
            return Refit(np.full(p, np.nan), np.full(p, np.nan), float("nan"), np.full(len(self.theta), np.nan))
        found = walk(sums, self.shape, self.solved.reml, self.theta, self.tilt)
        phi, w, rss = solve(found.point.answer.s)
        nu = sums.n - p if self.solved.reml else sums.n
        sigma2 = rss / nu
        spread = np.einsum("ij,jk,ik->i", basis.x, phi * sigma2, basis.x)
        return Refit(
            basis.mean(-w[:-1]), basis.scale * np.sqrt(spread), basis.scale * float(np.sqrt(sigma2)), found.theta
        )


def refitter(fit: MixedFit) -> Refitter:
    """Prepare refits of a fit: forms each innermost group's own W'W once."""
    solved = fit.solved
    return Refitter(
        solved,
        solved.sums,
        solved.shape,
        solved.found.theta,
        tilt_at(solved.found.point, solved.reml),
        fit.standard.own_totals(fit.rows),
    )


@dataclass(frozen=True)
class Influence:
    """terms: key columns, term, estimate without the group, change_in_std_errors of the full fit.

    groups: key columns, cook_distance = (b - b_without)' Cov^-1 (b - b_without) / p, residual_sd without the group;
    null where the rest of the rows cannot carry the mean's terms.
    """

    terms: pl.DataFrame
    groups: pl.DataFrame


def leave_one_out(fit: MixedFit, by: str | None = None) -> Influence:
    """Refit without each group of `by` in turn (the innermost grouping unless named)."""
    varies = fit.model.varies
    by = by or varies[0].by
    made = refitter(fit)
    if by == varies[0].by:
        refits = [made.without(i) for i in range(len(fit.rows.inner_keys))]
    elif len(varies) > 1 and by == varies[1].by:
        if len(fit.rows.outer_keys) < 3:
            raise CannotFit(f"Leaving out one of {len(fit.rows.outer_keys)} groups of {by!r} leaves fewer than two.")
        refits = [made.without_outer(i) for i in range(len(fit.rows.outer_keys))]
    else:
        raise CannotFit(f"The model has no grouping {by!r}.")
    return _influence(fit, group_keys(fit, by), refits)


def group_keys(fit: MixedFit, by: str) -> dict[str, list[object]]:
    """Key columns of the groups of `by`, in the order of the sums."""
    varies = fit.model.varies
    if len(varies) == 1:
        return {by: list(fit.rows.inner_keys)}
    if by == varies[1].by:
        return {by: list(fit.rows.outer_keys)}
    return {
        varies[1].by: [key[0] for key in fit.rows.inner_keys],
        by: [key[1] for key in fit.rows.inner_keys],
    }


def _influence(fit: MixedFit, keys: dict[str, list[object]], refits: list[Refit]) -> Influence:
    kept = list(fit.solved.basis.kept)
    full, covariance = fit.beta[kept], fit.beta_covariance[np.ix_(kept, kept)]
    beta = np.array([r.beta for r in refits])
    away = beta - full
    cook = np.einsum("gi,ij,gj->g", away, np.linalg.inv(covariance), away) / len(kept)
    names = [fit.terms[j] for j in kept]
    terms = pl.DataFrame(
        {
            **{name: [v for v in values for _ in names] for name, values in keys.items()},
            "term": names * len(refits),
            "estimate": beta.reshape(-1),
            "change_in_std_errors": (away / np.sqrt(np.diag(covariance))).reshape(-1),
        }
    )
    groups = pl.DataFrame({**keys, "cook_distance": cook, "residual_sd": [r.residual_sd for r in refits]})
    return Influence(terms.fill_nan(None), groups.fill_nan(None))


@dataclass(frozen=True)
class Bootstrap:
    """beta (repeats, kept terms) and residual_sd (repeats,); rows of NaN where a resample cannot carry the terms."""

    beta: Array
    residual_sd: Array
    table: pl.DataFrame


def cluster_bootstrap(
    fit: MixedFit, seed: int, repeats: int = 1000, by: str | None = None, level: float = 0.95
) -> Bootstrap:
    """Resample whole groups of `by` with replacement (the outermost unless named) and refit.

    Innermost groups of a nested model are drawn within their outer group. table: term, estimate, std_error (SD of the
    draws), low, high (percentiles), used (draws that could be fitted). The seed alone decides the draws.
    """
    varies = fit.model.varies
    by = by or varies[-1].by
    made = refitter(fit)
    draw = np.random.default_rng(seed)
    m, s = len(made.sums.rows), len(made.sums.starts)
    outermost = len(varies) > 1 and by == varies[1].by
    refits = []
    for _ in range(repeats):
        if outermost:
            counts = np.bincount(draw.integers(0, s, s), minlength=s).astype(float)
            refits.append(made.by_weights(made.sums.weight, counts))
            continue
        picked = [
            start + draw.integers(0, end - start, end - start)
            for start, end in zip(made.sums.starts, made.sums.ends, strict=True)
        ]
        counts = np.bincount(np.concatenate(picked), minlength=m).astype(float)
        refits.append(made.by_weights(counts * made.sums.weight))
    beta = np.array([r.beta for r in refits])
    kept = list(fit.solved.basis.kept)
    ends = np.nanquantile(beta, [0.5 - level / 2.0, 0.5 + level / 2.0], axis=0)
    table = pl.DataFrame(
        {
            "term": [fit.terms[j] for j in kept],
            "estimate": fit.beta[kept],
            "std_error": np.nanstd(beta, axis=0, ddof=1),
            "low": ends[0],
            "high": ends[1],
            "used": [int(np.isfinite(beta[:, 0]).sum())] * len(kept),
        }
    )
    return Bootstrap(beta, np.array([r.residual_sd for r in refits]), table)
