"""Standardised columns: the fit works in orthonormal columns, the caller never sees them.

Days, weeks and years then give the same numbers, and large offsets (NIST SmLs07: 1e12) cost no more digits than the
input had. X_std = X[kept] x, Z_std = Z z, y_std = (y - X[kept] shift) / scale.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.stats.formula import Rows
from pipeline.stats.model import CannotFit
from pipeline.stats.sums import Sums, from_rows, own_totals

Array = NDArray[np.float64]

ALIASED_BELOW = 1e-8  # length left of a column after removing the earlier ones, as a share; R's lm uses 1e-7
GRAM_ALIASED_BELOW = 1e-10  # the same of its squared length, from sums: rounding of long sums stays below it


@dataclass(frozen=True)
class Basis:
    """kept: positions of the mean's columns that carry information.

    x (p, p), shift (p,), scale, z (q, q), outer (qs, qs) as in the module's formulas.
    """

    kept: tuple[int, ...]
    x: Array
    shift: Array
    scale: float
    z: Array
    outer: Array

    def mean(self, standard: Array) -> Array:
        """Coefficients of the kept columns in the caller's units."""
        return np.asarray(self.shift + self.scale * (self.x @ standard))

    def contrast(self, rows: Array) -> Array:
        """Rows (r, p) on the caller's kept coefficients -> rows on the standardised ones."""
        return np.asarray(self.scale * rows @ self.x)

    @property
    def log_det_x(self) -> float:
        """log |det x|; a REML likelihood in the caller's columns is the standardised one plus this."""
        return float(np.linalg.slogdet(self.x)[1])


def _constant(columns: Array) -> NDArray[np.intp]:
    """Columns that have one value, not 0, in every row."""
    return np.flatnonzero((columns == columns[0]).all(axis=0) & (columns[0] != 0.0))


def centred(columns: Array, full: bool = True) -> tuple[Array, Array]:
    """(columns less their means, map) when one column is constant; the map gives new = columns @ map."""
    change = np.eye(columns.shape[1])
    constant = _constant(columns)
    if not full or len(constant) == 0:
        return columns, change
    one = int(constant[0])
    # a first shift by the first row keeps the digits of columns with a large offset
    out = columns - columns[0]
    mean = out.mean(axis=0)
    out -= mean
    out[:, one] = columns[:, one]
    change[one] = -(columns[0] + mean) / columns[0, one]
    change[one, one] = 1.0
    return out, change


def orthonormal(columns: Array) -> tuple[Array, Array, list[int]]:
    """(Q, map, kept): Q = columns[:, kept] @ map has Q'Q = I; columns that add nothing to earlier ones are left out."""
    length = np.sqrt(np.einsum("ij,ij->j", columns, columns))
    safe = np.where(length > 0, length, 1.0)
    gram = columns.T @ columns / np.outer(safe, safe)
    try:
        root = np.linalg.cholesky(gram)
        well = bool(np.diag(root).min(initial=1.0) > 1e-3)
    except np.linalg.LinAlgError:
        well = False
    if well:
        change = np.linalg.solve(root, np.eye(len(root))).T / safe[:, None]
        return columns @ change, change, list(range(len(length)))
    return _one_by_one(columns / safe, safe, length)


def orthonormal_from_gram(gram: Array) -> tuple[Array, list[int]]:
    """(map, kept) from X'X alone: (X[:, kept] map)'(X[:, kept] map) = I; half the digits of working on the rows."""
    kept: list[int] = []
    safe = np.sqrt(np.maximum(np.diag(gram), 1e-300))
    scaled = gram / np.outer(safe, safe)
    for j in range(len(gram)):
        trial = scaled[np.ix_([*kept, j], [*kept, j])]
        left = trial[-1, -1] - trial[-1, :-1] @ np.linalg.solve(trial[:-1, :-1], trial[:-1, -1])
        if gram[j, j] > 0 and left > GRAM_ALIASED_BELOW:
            kept.append(j)
    root = np.linalg.cholesky(scaled[np.ix_(kept, kept)])
    return np.linalg.solve(root, np.eye(len(kept))).T / safe[kept][:, None], kept


def _one_by_one(scaled: Array, safe: Array, length: Array) -> tuple[Array, Array, list[int]]:
    """Gram-Schmidt with a second pass, for columns that nearly follow from one another."""
    q = np.empty((scaled.shape[0], 0))
    kept: list[int] = []
    for j in range(scaled.shape[1]):
        rest = scaled[:, j].copy()
        for _ in range(2):
            rest -= q @ (q.T @ rest)
        left = float(np.linalg.norm(rest))
        if length[j] > 0 and left > ALIASED_BELOW:
            q = np.column_stack([q, rest / left])
            kept.append(j)
    upper = q.T @ scaled[:, kept]
    change = np.linalg.solve(np.triu(upper), np.eye(len(kept))) / safe[kept][:, None]
    return q, change, kept


def _whitened(columns: Array, names: tuple[str, ...], correlated: bool, by: str) -> tuple[Array, Array]:
    """Random columns with mean square 1, uncorrelated over the rows where a full covariance allows it; and the map."""
    n = len(columns)
    if columns.shape[1] == 0:
        return columns, np.eye(0)
    if not correlated:
        size = np.sqrt((columns**2).mean(axis=0))
        refuse_empty(size, names, by)
        return columns / size, np.diag(1.0 / size)
    free, change = centred(columns)
    q, to_q, kept = orthonormal(free)
    refuse_random(names, kept, by)
    root_n = np.sqrt(n)
    return q * root_n, change @ to_q * root_n


@dataclass(frozen=True)
class Standard:
    """Standardised rows, sorted: z (n, q), outer (n, qs), x (n, kept p), y (n,)."""

    z: Array
    outer: Array
    x: Array
    y: Array

    def sums(self, rows: Rows) -> Sums:
        """Their sums per group."""
        return from_rows(self.z, self.outer, self.x, self.y, rows.inner_starts, rows.outer_starts)

    def own_totals(self, rows: Rows) -> Array:
        """[Zs X y]'[Zs X y] of each innermost group (m, k, k)."""
        return own_totals(self.outer, self.x, self.y, rows.inner_starts)

    def divided(self, by: Array) -> Standard:
        """Each row divided by its relative residual SD, by (n,)."""
        column = by[:, None]
        return Standard(self.z / column, self.outer / column, self.x / column, self.y / by)


def standardised(rows: Rows, correlated: tuple[bool, ...], by: tuple[str, ...]) -> tuple[Standard, Basis]:
    """The rows in standardised columns, and the basis that leads back."""
    free, to_free = centred(rows.x.values)
    # a column that is constant beside the intercept leaves rounding errors only
    empty = _size(free) <= 1e-13 * _size(rows.x.values)
    if empty.any():
        free = np.where(empty, 0.0, free)
    q, to_q, kept = orthonormal(free)
    refuse_terms(len(rows.y), rows.x.values.shape[1], len(kept))
    y_free, start = _free_outcome(rows, to_free)
    slope = q.T @ y_free
    rest = y_free - q @ slope
    again = q.T @ rest
    rest, slope = rest - q @ again, slope + again
    scale = float(np.sqrt(rest @ rest / (len(rest) - len(kept))))
    constant = float(np.ptp(rows.y)) == 0.0
    refuse_outcome(len(rows.y), constant, scale <= 1e-13 * max(float(np.abs(y_free).max()), 1e-300))
    x_map = to_free[np.ix_(kept, kept)] @ to_q
    z, z_map = _whitened(rows.z.values, rows.z.names, correlated[0], by[0])
    outer, outer_map = _whitened(rows.outer.values, rows.outer.names, correlated[-1], by[-1])
    basis = Basis(tuple(kept), x_map, start[kept] + x_map @ slope, scale, z_map, outer_map)
    return Standard(z, outer, q, rest / scale), basis


def _size(columns: Array) -> Array:
    """Largest absolute value of each column."""
    return np.asarray(np.abs(columns).max(axis=0))


def _free_outcome(rows: Rows, to_free: Array) -> tuple[Array, Array]:
    """The outcome less its mean when a column is constant, and the coefficients that stand for that mean."""
    start = np.zeros(rows.x.values.shape[1])
    first = rows.x.values[0]
    constant = _constant(rows.x.values)
    if len(constant) == 0:
        return rows.y, start
    shifted = rows.y - rows.y[0]
    mean = float(shifted.mean())
    start[int(constant[0])] = (rows.y[0] + mean) / first[int(constant[0])]
    return shifted - mean, start


def refuse_terms(rows: int, terms: int, kept: int) -> None:
    """CannotFit where all terms of the mean are 0, or where those that are left are as many as the rows."""
    if not kept and terms:
        raise CannotFit("Every term of the mean is 0 in every row; there is nothing to estimate.")
    if rows <= kept:
        raise CannotFit(f"{rows} rows cannot carry {kept} terms of the mean; leave terms out or wait for more tests.")


def refuse_outcome(rows: int, constant: bool, exact: bool) -> None:
    """CannotFit for an outcome that is the same in every row, or that the terms of the mean give exactly."""
    if constant:
        raise CannotFit(
            f"The outcome has the same value in all {rows} rows; there is no variation to explain. "
            "Check how the column was made."
        )
    if exact:
        raise CannotFit(
            "The terms of the mean reproduce the outcome exactly; nothing is left to estimate a spread from."
        )


def refuse_random(names: tuple[str, ...], kept: list[int], by: str) -> None:
    """CannotFit for random terms that follow from the others, kept being those that do not."""
    if len(kept) < len(names):
        lost = next(name for j, name in enumerate(names) if j not in kept)
        raise CannotFit(
            f"The random term {lost!r} by {by!r} has the same value in every row or follows from the other random "
            "terms; leave it out."
        )


def refuse_empty(size: Array, names: tuple[str, ...], by: str) -> None:
    """CannotFit for a random term whose size is 0."""
    for name, value in zip(names, size, strict=True):
        if value == 0.0:
            raise CannotFit(f"The random term {name!r} by {by!r} is 0 in every row; leave it out.")
