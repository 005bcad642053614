"""How far linear programs narrow hidden counts: tables that a reader must think possible, found a few at a time."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix

Floats = NDArray[np.float64]
FAR = 1e6
"""Stands for no upper end: more people than any cohort has."""
ROUNDS = 6
"""Rounds of looking for tables that show many counts open at once, before each is asked alone."""
Enough = tuple[float, float, float]


class Tables:
    """Tables that fit the sums: `least` and `most` keep the ends of each count over all that were found."""

    def __init__(self, matrix: csr_matrix, rest: Floats, bounds: Floats) -> None:
        self.matrix, self.rest, self.bounds = matrix, rest, bounds
        self.least, self.most = np.full(len(bounds), np.inf), np.full(len(bounds), -np.inf)
        self.are_possible = True

    def look(self, counts: Iterable[int], way: float) -> None:
        """Find one table in which these counts together are as small (way 1) or as large (-1) as can be."""
        from scipy.optimize import linprog
        if not self.are_possible:
            return
        aim = np.zeros(len(self.bounds))
        aim[list(counts)] = way
        found = linprog(aim, A_eq=self.matrix, b_eq=self.rest, bounds=self.bounds, method="highs")
        if found.status != 0:
            self.are_possible = False
            return
        self.least, self.most = np.minimum(self.least, found.x), np.maximum(self.most, found.x)

    def is_open(self, count: int, enough: Enough) -> bool:
        """Tell whether the tables found so far leave a count open."""
        low, high, width = enough
        least, most = self.least[count], self.most[count]
        return bool(least <= low and most >= high and most - least >= width)


def ranges_left(
    matrix: csr_matrix, rest: Floats, bounds: Floats, asked: Mapping[int, Enough]
) -> dict[int, tuple[float, float]]:
    """The counts that are not open, with the range that is left of each; NaN where the sums contradict each other.

    matrix, rest: sums (rows) of counts (columns). bounds: ends of each count, FAR for none. asked: count to what its
    range must hold. A few tables with many counts low or high at once show most of them open; two programs settle each
    of the others.
    """
    tables = Tables(matrix, rest, bounds)
    waiting = list(asked)
    for _ in range(ROUNDS):
        for way in (1.0, -1.0):
            for some in (waiting[::2], waiting[1::2]):
                if some:
                    tables.look(some, way)
        waiting = [k for k in waiting if not tables.is_open(k, asked[k])]
    for count in waiting:
        for way in (1.0, -1.0):
            tables.look([count], way)
    if not tables.are_possible:
        return dict.fromkeys(asked, (np.nan, np.nan))
    return {k: (float(tables.least[k]), float(tables.most[k])) for k in waiting if not tables.is_open(k, asked[k])}


def sums_used(matrix: csr_matrix, rest: Floats, bounds: Floats, count: int, way: float) -> NDArray[np.bool_]:
    """Which sums prove the end of a count (way 1: the lower, -1: the upper): those with a price in the program's dual.

    All of them where the sums contradict each other.
    """
    from scipy.optimize import linprog
    aim = np.zeros(len(bounds))
    aim[count] = way
    found = linprog(aim, A_eq=matrix, b_eq=rest, bounds=bounds, method="highs")
    if found.status != 0:
        return np.ones(len(rest), dtype=bool)
    return np.asarray(np.abs(found.eqlin.marginals) > 1e-9)
