"""Sums by outer group put into other columns, one map an outer group; and one outer group alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pipeline.stats.planned import Planned
from pipeline.stats.sums import Sums

Array = NDArray[np.float64]


def mapped(sums: Sums, maps: Sequence[Array], outer_columns: int = 0) -> Sums:
    """The sums of W L instead of W, L (k, k') = maps[s] in outer group s; no sum is held as patterns."""
    assert sums.zw is not None
    zw = np.empty((*sums.zw.shape[:2], maps[0].shape[1]))
    for a, b, each in zip(sums.starts, sums.ends, maps, strict=True):
        np.matmul(sums.zw[a:b], each, out=zw[a:b])
    total = np.stack([each.T @ own @ each for own, each in zip(sums.total, maps, strict=True)])
    return replace(sums, zw=zw, total=total, outer_columns=outer_columns)


def alone(sums: Sums, place: int) -> Sums:
    """The sums of one outer group."""
    assert sums.zw is not None
    own = slice(int(sums.starts[place]), int(sums.ends[place]))
    own_rows = replace(sums, rows=sums.rows[own], zz=sums.zz[own], zw=sums.zw[own], weight=sums.weight[own])
    weight = sums.outer_weight[place : place + 1]
    return replace(own_rows, total=sums.total[place][None], starts=np.zeros(1, dtype=np.intp), outer_weight=weight)


def added_up(parts: Sequence[tuple[Planned, Array]]) -> Planned:
    """The design of disjoint groups, each part put into other columns by its map (k, k')."""

    def over(name: str) -> Array:
        return np.asarray(np.sum([each.T @ getattr(part, name) @ each for part, each in parts], axis=0))

    trace = np.sum([part.trace for part, _ in parts], axis=0)
    return Planned(over("information"), over("first"), over("second"), np.asarray(trace))
