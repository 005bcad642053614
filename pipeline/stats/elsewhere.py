"""Fit from sums made elsewhere: a SQL GROUP BY, or another site's answer. No row is needed.

Random intercept, or intercept and slope along t, by one grouping, and what the sums hold of an outer one. Columns are
the outer grouping's, those of the mean, the constant first, then the outcome. A caller who subtracts a centre from a
column (t, columns, outcome) before forming sums names it here, so that large offsets cost no digits. With c columns of
the mean beside the constant:
per group (or pattern) n, sum t, sum t^2 and for every column j of (1, x_1 .. x_c, y) a_j = sum col_j and
b_j = sum t col_j; once for all rows the cross-products T_jk = sum col_j col_k. Groups with equal (n, sum t, sum t^2)
may be held as one pattern with their count and sums of a_j a_k, (a_j b_k + a_k b_j) / 2 and b_j b_k: the cost of the
fit then stops growing with clients.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pipeline.stats.boundary import refuse_unidentified, solve, without_groups
from pipeline.stats.likelihood import Shape
from pipeline.stats.model import Boundary, CannotFit, DfMethod, Method, MixedModel
from pipeline.stats.reading import Reading, check_groups, read
from pipeline.stats.sums import Sums
from pipeline.stats.sums_basis import of_model, standardised_sums

Array = NDArray[np.float64]


class SumsFit(Reading):
    """A fit without rows, in the caller's columns (centres taken back): it reads as the fit of the rows does."""

    def light(self) -> SumsFit:
        """The same without what it holds of each group: it answers contrasts, and takes no room by groups.

        What goes back to the sums (profiles of variances, refits) cannot be asked of it.
        """
        return replace(self, solved=without_groups(self.solved))


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


def fit_from_sums(
    sums: Sums,
    model: MixedModel,
    names: Sequence[str],
    *,
    centres: Sequence[float] | None = None,
    t_centre: float = 0.0,
    method: Method = "reml",
    df: DfMethod = "kenward-roger",
    boundary: Boundary = "drop",
) -> SumsFit:
    """Fit a model from its sums as fit_mixed does from its rows.

    names: terms of the mean, the constant first; what varies is read from the model, the mean's formula is only told.
    centres: of (constant = 0, x.., y), what was subtracted before the sums were formed; t_centre likewise of t.
    Raises CannotFit with a plain sentence when these sums have no answer.
    """
    off = np.zeros(len(names) + 1) if centres is None else np.asarray(centres, dtype=float)
    _refuse_unusable(sums, model, len(names), off, t_centre)
    random = tuple(v.names for v in model.varies)
    own = of_model(sums, model.varies, random)
    groups = (round(own.full_weight.sum()), len(own.starts))
    check_groups(groups, model)
    standard, basis = standardised_sums(own, model.varies, random, off, t_centre)
    correlated = tuple(v.correlated for v in model.varies)
    shape = Shape(standard.q, correlated[0], standard.outer_columns, correlated[-1])
    solved = solve(standard, shape, basis, method == "reml", boundary)
    refuse_unidentified(solved, model, standard.rows, groups[0])
    counts = (round(standard.n), *groups)
    return SumsFit(**read(solved, model, (method, df, boundary), (tuple(names), random), counts))


def _refuse_unusable(sums: Sums, model: MixedModel, terms: int, centres: Array, t_centre: float) -> None:
    if terms != sums.k - sums.outer_columns - 1 or len(centres) != terms + 1:
        raise CannotFit(
            f"The sums have {sums.k - sums.outer_columns - 1} terms and an outcome; got {terms} names, "
            f"{len(centres)} centres."
        )
    if len(sums.rows) == 0 or sums.n == 0:
        raise CannotFit("There are no rows to fit; check the selection that made the sums.")
    if not np.isfinite(sums.total).all():
        raise CannotFit("A sum is infinite or missing; a row behind it is. Leave such rows out of the GROUP BY.")
    if t_centre != 0.0 and not all(v.correlated for v in model.varies):
        raise CannotFit("Random terms without covariances hang on where time is 0; form the sums without its centre.")
