"""Standardised columns from sums alone: the same columns as basis.standardised makes of rows, by changes of columns.

A matrix of products has half the digits of its columns: what rounding took in forming it cannot be put right here (a
second pass over the orthonormal columns was tried and changes no digit). On the 23 plain terms of the tests 1e-9 is
left; a column whose mean is a thousand times its spread (a calendar year) leaves 4e-7, unless its centre is taken off.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.stats.basis import (
    Basis,
    orthonormal_from_gram,
    refuse_empty,
    refuse_outcome,
    refuse_random,
    refuse_terms,
)
from pipeline.stats.model import CannotFit, Varies
from pipeline.stats.sums import Sums

Array = NDArray[np.float64]
NOTHING_LEFT = 1e-12  # share of the outcome's sum of squares under which what is left of it is rounding


def whitened(gram: Array, names: tuple[str, ...], varies: Varies) -> Array:
    """Map (q, q) to random columns with mean square 1, uncorrelated where a full covariance allows it.

    gram (q, q): mean over the rows of the products of the columns.
    """
    size = np.sqrt(np.maximum(np.diag(gram), 0.0))
    if not varies.correlated:
        refuse_empty(size, names, varies.by)
        return np.diag(1.0 / size)
    change, kept = orthonormal_from_gram(gram)
    refuse_random(names, kept, varies.by)
    return change


def _is_constant(gram: Array, n: float) -> bool:
    """Whether the outcome, the last column, is one value in all rows, as far as sums tell it: the first column is 1."""
    if gram[-1, -1] <= 0.0:
        return True
    one = len(gram) > 1 and gram[0, 0] == n
    return bool(one and gram[-1, -1] - gram[0, -1] ** 2 / n <= NOTHING_LEFT * gram[-1, -1])


def _mean(gram: Array, n: float) -> tuple[Array, list[int], Array, float]:
    """(map of the kept columns, kept, coefficients of the outcome on the kept columns, scale of what is left).

    gram (p + 1, p + 1): products of the mean's columns and the outcome.
    """
    p = len(gram) - 1
    change, kept = orthonormal_from_gram(gram[:p, :p])
    refuse_terms(round(n), p, len(kept))
    slope = change.T @ gram[kept, p]
    rest = float(gram[p, p] - slope @ slope)
    refuse_outcome(round(n), _is_constant(gram, n), rest <= NOTHING_LEFT * gram[p, p])
    return change, kept, slope, float(np.sqrt(rest / (n - len(kept))))


def standardised_sums(
    sums: Sums, varies: tuple[Varies, ...], names: tuple[tuple[str, ...], ...], centres: Array, t_centre: float
) -> tuple[Sums, Basis]:
    """The sums of standardised columns, and the basis that leads back to the caller's.

    names: of the random columns by grouping. centres (p + 1,): what was taken off the mean's columns, of which the
    first is then 1, and off the outcome; t_centre: off the second random column of either grouping.
    """
    qs, n = sums.outer_columns, sums.n
    pooled = np.asarray(np.tensordot(sums.outer_weight, sums.total, axes=(0, 0)))
    z = whitened(np.tensordot(sums.full_weight, sums.zz, axes=(0, 0)) / n, names[0], varies[0])
    outer = whitened(pooled[:qs, :qs] / n, names[1], varies[1]) if qs else np.eye(0)
    x, kept, slope, scale = _mean(pooled[qs:, qs:], n)
    p = len(kept)
    w = np.zeros((sums.k, qs + p + 1))
    w[:qs, :qs] = outer
    rows = [qs + j for j in kept]
    w[rows, qs : qs + p] = x
    w[rows, -1], w[-1, -1] = -(x @ slope) / scale, 1.0 / scale
    back = np.eye(p)
    back[:1] -= centres[kept] * (np.arange(p) > 0)
    shift = back @ x @ slope
    shift[:1] += centres[-1]
    basis = Basis(tuple(kept), back @ x, shift, scale, _time_back(z, t_centre), _time_back(outer, t_centre))
    return sums.in_basis(z, w, qs), basis


def _time_back(change: Array, t_centre: float) -> Array:
    """The map of random columns (1, t less a centre) as one of (1, t)."""
    back = np.eye(len(change))
    if len(change) == 2:
        back[0, 1] = -t_centre
    return back @ change


def of_model(sums: Sums, varies: tuple[Varies, ...], names: tuple[tuple[str, ...], ...]) -> Sums:
    """The sums with the random columns that a model names, out of those that were summed: an intercept, or one and
    time, of the innermost groups; without an outer grouping all rows are one outer group."""
    if names[0][:1] != ("Intercept",) or len(names[0]) > sums.q:
        raise CannotFit(
            f"The sums hold {'an intercept' if sums.q == 1 else 'an intercept and time'} by {varies[0].by!r}; "
            f"{varies[0].terms!r} cannot be made of them."
        )
    if len(varies) == 1:
        return sums.only(len(names[0]), sums.outer_columns).as_one()
    if len(names[1]) != sums.outer_columns:
        raise CannotFit(
            f"The sums hold {sums.outer_columns} random columns by {varies[1].by!r}, the model {len(names[1])} "
            f"({varies[1].terms!r}); form them with the columns of the model."
        )
    return sums.only(len(names[0]), 0)
