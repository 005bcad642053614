"""The sums a mixed model needs from its rows, and nothing else of them.

Per innermost group i with rows Z_i (q random columns) and W_i = [Zs X y] (k columns: the outer grouping's random
columns, the mean's columns, the outcome); per outer group W'W (the whole is one outer group where none is named).
Groups with the same Z'Z may be held together as one pattern: their count and the sum of their outer products
(Z_i'W_i)'(Z_i'W_i). Sums of disjoint sets of groups are joined, never recomputed.
Source of the form: Bates, Maechler, Bolker and Walker 2015, J Stat Softw 67(1), section 3; own derivation for sums.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

Array = NDArray[np.float64]
Index = NDArray[np.intp]


@dataclass(frozen=True)
class Sums:
    """Sums per innermost group (m of them, those of one outer group side by side) and per outer group (s).

    rows (m,): rows per group. zz (m, q, q). zw (m, q, k), or None when held as patterns. total (s, k, k).
    starts (s,): first innermost group of each outer group. weight (m,): case weight or count of equal groups.
    outer_weight (s,). pairs (m, q, q, k, k): sum over the groups of a pattern of the products of the rows of Z'W.
    """

    rows: Array
    zz: Array
    zw: Array | None
    total: Array
    starts: Index
    weight: Array
    outer_weight: Array
    outer_columns: int
    pairs: Array | None = None

    @property
    def q(self) -> int:
        """Random columns of the innermost grouping."""
        return int(self.zz.shape[1])

    @property
    def k(self) -> int:
        """Columns of [Zs X y]."""
        return int(self.total.shape[1])

    @cached_property
    def ends(self) -> Index:
        """One past the last innermost group of each outer group."""
        return np.append(self.starts[1:], len(self.rows))

    @cached_property
    def outer_of(self) -> Index:
        """Outer group of each innermost group (m,)."""
        return np.repeat(np.arange(len(self.starts)), self.ends - self.starts)

    @cached_property
    def full_weight(self) -> Array:
        """Weight of each innermost group in the whole: its own times its outer group's (m,)."""
        return np.asarray(self.weight * self.outer_weight[self.outer_of])

    @cached_property
    def n(self) -> float:
        """Rows, counted with their weights."""
        return float(self.full_weight @ self.rows)

    def contract(self, inner: Array, columns: slice = slice(None)) -> Array:
        """Sum over the groups of each outer group of weight * (Z'W)' inner (Z'W): (m, q, q) -> (s, k, k)."""
        weighted = inner * self.weight[:, None, None]
        if self.zw is None:
            assert self.pairs is not None
            pairs = self.pairs[..., columns, columns]
            return np.stack(
                [
                    np.tensordot(weighted[a:b], pairs[a:b], axes=([0, 1, 2], [0, 1, 2]))
                    for a, b in zip(self.starts, self.ends, strict=True)
                ]
            )
        zw = self.zw[..., columns]
        right = weighted @ zw
        width = zw.shape[2]
        if len(self.starts) == 1:
            return np.asarray(zw.reshape(-1, width).T @ right.reshape(-1, width))[None]
        return np.stack(
            [
                zw[a:b].reshape(-1, width).T @ right[a:b].reshape(-1, width)
                for a, b in zip(self.starts, self.ends, strict=True)
            ]
        )

    def through(self, b: Array) -> Sums:
        """The sums of b'Z'W instead of Z'W, b (m, q, q) per group; not for patterns."""
        assert self.zw is not None
        return replace(self, zw=np.swapaxes(b, 1, 2) @ self.zw)

    def sandwich(self, columns: Array) -> Array:
        """(Z'W) c c' (Z'W)' per innermost group, c (s, k, j) by outer group: (m, q, q), weights not applied."""
        if self.zw is None:
            assert self.pairs is not None
            square = columns @ np.swapaxes(columns, 1, 2)
            if len(square) == 1:
                return np.asarray(np.tensordot(self.pairs, square[0], axes=([3, 4], [0, 1])))
            spans = zip(self.starts, self.ends, square, strict=True)
            return np.concatenate([np.tensordot(self.pairs[a:b], each, axes=([3, 4], [0, 1])) for a, b, each in spans])
        if len(columns) == 1:
            half = (self.zw.reshape(-1, self.k) @ columns[0]).reshape(len(self.rows), self.q, -1)
        else:
            half = self.zw @ columns[self.outer_of]
        return np.asarray(half @ np.swapaxes(half, 1, 2))

    def in_basis(self, z: Array, w: Array, outer_columns: int) -> Sums:
        """The sums of Z z and W w: a change of columns, no rows touched. z (q, q'), w (k, k')."""
        zw = None if self.zw is None else z.T @ (self.zw.reshape(-1, self.k) @ w).reshape(len(self.rows), self.q, -1)
        pairs = None
        if self.pairs is not None:
            made = np.einsum("mabkl,ac,bd,ke,lf->mcdef", self.pairs, z, z, w, w, optimize=True)
            pairs = np.ascontiguousarray(made)  # or contract() copies them at each call
        return replace(
            self, zz=z.T @ self.zz @ z, zw=zw, total=w.T @ self.total @ w, pairs=pairs, outer_columns=outer_columns
        )

    def only(self, q: int, drop: int) -> Sums:
        """The same sums with the first q random columns, and without the first `drop` columns of W."""
        return replace(
            self,
            zz=self.zz[:, :q, :q],
            zw=None if self.zw is None else self.zw[:, :q, drop:],
            total=self.total[:, drop:, drop:],
            pairs=None if self.pairs is None else self.pairs[:, :q, :q, drop:, drop:],
            outer_columns=self.outer_columns - drop,
        )

    def as_one(self) -> Sums:
        """The same groups in one outer group: there is no outer grouping."""
        return replace(
            self,
            weight=self.full_weight,
            outer_weight=np.ones(1),
            total=np.tensordot(self.outer_weight, self.total, axes=(0, 0))[None],
            starts=np.zeros(1, dtype=np.intp),
        )

    def weighted(self, weight: Array, outer_weight: Array, total: Array) -> Sums:
        """The same sums with other case weights; total must be the weighted W'W per outer group."""
        return replace(self, weight=weight, outer_weight=outer_weight, total=total)


def joined(first: Sums, second: Sums) -> Sums:
    """Sums of two disjoint sets of groups, in the same columns.

    Without an outer grouping the totals add up; with one, the two sets must hold different outer groups.
    """
    alone = first.outer_columns == 0
    return Sums(
        rows=np.concatenate([first.rows, second.rows]),
        zz=np.concatenate([first.zz, second.zz]),
        zw=None if first.zw is None or second.zw is None else np.concatenate([first.zw, second.zw]),
        total=first.total + second.total if alone else np.concatenate([first.total, second.total]),
        starts=first.starts if alone else np.concatenate([first.starts, second.starts + len(first.rows)]),
        weight=np.concatenate([first.weight, second.weight]),
        outer_weight=first.outer_weight if alone else np.concatenate([first.outer_weight, second.outer_weight]),
        outer_columns=first.outer_columns,
        pairs=None if first.pairs is None or second.pairs is None else np.concatenate([first.pairs, second.pairs]),
    )


def from_rows(z: Array, outer: Array, x: Array, y: Array, inner_starts: Index, outer_starts: Index) -> Sums:
    """Sums of rows that stand sorted by outer and innermost group. Columns should be centred by the caller.

    z (n, q), outer (n, qs), x (n, p), y (n,). inner_starts (m,): first row of each group; outer_starts (s,): first
    innermost group of each outer group.
    """
    w = np.concatenate([outer, x, y[:, None]], axis=1)
    q, m = z.shape[1], len(inner_starts)
    zw = np.empty((m, q, w.shape[1]))
    zz = np.empty((m, q, q))
    bounds, places = np.append(inner_starts, len(y)), np.arange(len(y))
    for a in range(q):
        # a sparse (groups, rows) matrix that holds the column: several times faster than np.add.reduceat
        picked = csr_array((np.ascontiguousarray(z[:, a]), places, bounds), shape=(m, len(y)))
        zw[:, a], zz[:, a] = picked @ w, picked @ z
    zz = (zz + np.swapaxes(zz, 1, 2)) / 2.0
    row_ends = np.append(inner_starts[outer_starts[1:]], len(y))
    total = np.stack([w[a:b].T @ w[a:b] for a, b in zip(inner_starts[outer_starts], row_ends, strict=True)])
    return Sums(
        rows=np.diff(np.append(inner_starts, len(y))).astype(float),
        zz=zz,
        zw=zw,
        total=total,
        starts=outer_starts,
        weight=np.ones(m),
        outer_weight=np.ones(len(outer_starts)),
        outer_columns=outer.shape[1],
    )


def own_totals(outer: Array, x: Array, y: Array, inner_starts: Index, chunk_rows: int = 100_000) -> Array:
    """W'W of every innermost group (m, k, k); what leaving groups out or weighting them needs beside the sums."""
    w = np.concatenate([outer, x, y[:, None]], axis=1)
    ends = np.append(inner_starts[1:], len(y))
    pieces = []
    first = 0
    while first < len(inner_starts):
        last = max(first + 1, int(np.searchsorted(ends, inner_starts[first] + chunk_rows, side="right")))
        rows = w[inner_starts[first] : ends[last - 1]]
        products = rows[:, :, None] * rows[:, None, :]
        pieces.append(np.add.reduceat(products, inner_starts[first:last] - inner_starts[first], axis=0))
        first = last
    return np.concatenate(pieces)


def as_patterns(sums: Sums) -> Sums:
    """Hold together groups of one outer group with equal Z'Z and rows; the fit is the same, its cost is not."""
    if sums.zw is None:
        return sums
    m, q = len(sums.rows), sums.q
    key = np.column_stack([sums.outer_of, sums.rows, sums.zz.reshape(m, -1)])
    _, which = np.unique(key, axis=0, return_inverse=True)
    which = which.reshape(-1)
    order = np.argsort(which, kind="stable")
    first = np.flatnonzero(np.diff(np.append(-1, which[order])))
    zw, weight = sums.zw[order], sums.weight[order]
    pairs = np.empty((len(first), q, q, sums.k, sums.k))
    for a in range(q):
        for b in range(q):
            product = (zw[:, a, :, None] * weight[:, None, None]) * zw[:, b, None, :]
            pairs[:, a, b] = np.add.reduceat(product, first, axis=0)
    count = np.add.reduceat(weight, first)
    keep = order[first]
    return replace(
        sums,
        rows=sums.rows[keep],
        zz=sums.zz[keep],
        zw=None,
        # contract() multiplies by the weight, so a pattern's pairs are held as their mean
        pairs=pairs / count[:, None, None, None, None],
        weight=count,
        starts=np.searchsorted(sums.outer_of[keep], np.arange(len(sums.starts))),
    )
