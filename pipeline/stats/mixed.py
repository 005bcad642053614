"""The door to mixed models: fit_mixed(frame, model) -> MixedFit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.stats.basis import Standard, standardised
from pipeline.stats.boundary import Solved, refuse_unidentified, solve
from pipeline.stats.formula import Rows, read_rows
from pipeline.stats.likelihood import Shape
from pipeline.stats.model import Boundary, CannotFit, DfMethod, Method, MixedModel
from pipeline.stats.reading import Reading, check_groups, read
from pipeline.stats.sums import Sums

Array = NDArray[np.float64]


@dataclass(frozen=True)
class MixedFit(Reading):
    """A mixed model fitted to rows: what can be read of it, the rows, and the rows in standardised columns."""

    rows: Rows = field(repr=False)
    standard: Standard = field(repr=False)


def _group_weights(rows: Rows, frame: pl.DataFrame, weights: str | Mapping[Any, float]) -> Array:
    """Case weight of each innermost group (m,): from a column constant in each group, or a mapping by key."""
    if isinstance(weights, str):
        column = np.asarray(frame[weights].to_numpy(), dtype=float)[rows.order]
        each = column[rows.inner_starts]
        if not np.array_equal(each[rows.inner_of], column):
            raise CannotFit(f"The weight {weights!r} changes inside a group; a group has one weight.")
    else:
        missing = [k for k in rows.inner_keys if k not in weights]
        if missing:
            raise CannotFit(
                f"{len(missing)} of {len(rows.inner_keys)} groups have no weight; give each one, 0 leaves it out."
            )
        each = np.array([float(weights[k]) for k in rows.inner_keys])
    if not np.all(np.isfinite(each)) or each.min() < 0 or each.sum() == 0:
        raise CannotFit("Weights must be finite, not negative, and not all 0.")
    return each


def _weighted(sums: Sums, rows: Rows, standard: Standard, weight: Array) -> Sums:
    total = np.add.reduceat(standard.own_totals(rows) * weight[:, None, None], rows.outer_starts, axis=0)
    return sums.weighted(weight, sums.outer_weight, total)


def fit_mixed(
    frame: pl.DataFrame,
    model: MixedModel,
    method: Method = "reml",
    *,
    df: DfMethod = "kenward-roger",
    weights: str | Mapping[Any, float] | None = None,
    boundary: Boundary = "drop",
) -> MixedFit:
    """Fit a linear mixed model by REML or ML.

    weights: case weight of each innermost group (a column constant in each group, or a mapping from its key; with an
    outer grouping the key is (outer, inner)). boundary: "drop" refits without variances that are zero, "keep" does not.
    Raises CannotFit with a plain sentence when these rows have no answer.
    """
    rows = read_rows(frame, model)
    check_groups((len(rows.inner_starts), len(rows.outer_starts)), model)
    correlated = tuple(v.correlated for v in model.varies)
    standard, basis = standardised(rows, correlated, tuple(v.by for v in model.varies))
    sums = standard.sums(rows)
    if weights is not None:
        sums = _weighted(sums, rows, standard, _group_weights(rows, frame, weights))
    shape = Shape(sums.q, correlated[0], sums.outer_columns, correlated[-1])
    solved = solve(sums, shape, basis, method == "reml", boundary)
    refuse_unidentified(solved, model, sums.rows, len(sums.rows))
    return assembled(solved, model, method, df, boundary, rows, standard)


def assembled(
    solved: Solved, model: MixedModel, method: Method, df: DfMethod, boundary: Boundary, rows: Rows, standard: Standard
) -> MixedFit:
    """Put a solved model into the caller's units and words."""
    names = (rows.x.names, (rows.z.names, rows.outer.names)[: len(model.varies)])
    counts = (len(rows.y), len(rows.inner_starts), len(rows.outer_starts))
    return MixedFit(**read(solved, model, (method, df, boundary), names, counts), rows=rows, standard=standard)
