"""The disclosure audit: what could a reader derive for each hidden cell from the sums that were published?

Each count is a variable; a shown one is fixed, a hidden one lies where its mark puts it, and counts that are printed
nowhere (who came since the last edition, the rest of a share) are at least 0. Narrowing by single sums, and linear
programming where sums form a ring, gives the range that the published sums leave open. A small cell must keep the whole
of 1..limit; a protecting cell must keep at least as many possible values.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from pipeline.identity.programs import FAR, ranges_left, sums_used
from pipeline.results import Partition

SLACK = 1e-6
SWEEPS = 400
"""Sweeps of narrowing at most; where it has not come to rest by then, linear programs decide."""
Floats = NDArray[np.float64]
Places = NDArray[np.int64]


@dataclass(frozen=True)
class Cell:
    """One count: None where a reader does not see it.

    `is_small`: 1..limit people, which must stay possible, all of them; `is_free`: printed nowhere, nothing to protect;
    neither: it protects another, and must keep as many values. `known` is what a reader knows before any sum (its mark
    says it); None: 1..limit for a small one, 0 or more for the rest.
    """

    count: int | None
    is_small: bool = False
    is_free: bool = False
    known: tuple[float, float] | None = None

    def start(self, limit: int) -> tuple[float, float]:
        """The range to begin with."""
        if self.count is not None:
            return float(self.count), float(self.count)
        return self.known or ((1.0, float(limit)) if self.is_small else (0.0, np.inf))

    def is_open(self, left: tuple[float, float], limit: int) -> bool:
        """Tell whether a range is enough for this cell."""
        low, high = left
        if self.is_free or self.count is not None:
            return True
        if self.is_small:
            return low <= 1 + SLACK and high >= limit - SLACK
        return high - low >= limit - 1 - SLACK


@dataclass(frozen=True)
class Derivable:
    """A hidden cell that a reader can narrow to `low`..`high` people."""

    key: str
    low: float
    high: float


class Audit:
    """The sums of an edition as equations; cells may be set anew, and asked about again."""

    def __init__(self, cells: Mapping[str, Cell], sums: Sequence[Partition], limit: int) -> None:
        self.limit = limit
        self.keys = list(cells)
        self.place = {key: k for k, key in enumerate(self.keys)}
        self.cells = [cells[k] for k in self.keys]
        self.low, self.high = np.zeros(len(self.keys)), np.zeros(len(self.keys))
        for key, cell in cells.items():
            self.place_cell(key, cell)
        entries = _entries(sums, self.place)
        self.of_sum, self.of_cell = (np.array([e[k] for e in entries], dtype=np.int64) for k in (0, 1))
        self.weight = np.array([e[2] for e in entries], dtype=np.float64)
        self.n_sums = int(self.of_sum.max(initial=-1)) + 1
        self._known: dict[Hashable, dict[int, tuple[float, float]]] = {}

    def place_cell(self, key: str, cell: Cell) -> None:
        """Show or hide one cell."""
        k = self.place[key]
        low, high = cell.start(self.limit)
        self.cells[k], self.low[k], self.high[k] = cell, max(low, -FAR), min(high, FAR)

    def derivable(self) -> list[Derivable]:
        """List the hidden cells that the sums narrow too far, in order of their keys; empty means safe."""
        low, high, at_rest = self._narrowed()
        unseen = np.array([c.count is None for c in self.cells], dtype=bool)
        edges = unseen[self.of_cell] if self.of_cell.size else np.zeros(0, dtype=bool)
        group_of_cell, group_of_sum = self._groups(edges)
        false = set(group_of_cell[unseen & (low > high + SLACK)].tolist())
        bad = {k: (low[k], high[k]) for k in np.flatnonzero(unseen).tolist()
               if not self.cells[k].is_open((low[k], high[k]), self.limit)}  # fmt: skip
        settled = false | {int(group_of_cell[k]) for k in bad}
        for group in self._rings(edges, unseen, group_of_cell, group_of_sum, at_rest) - settled:
            bad |= self._by_programs(group, edges, group_of_cell, group_of_sum)
        for k in np.flatnonzero(unseen & np.isin(group_of_cell, list(false))).tolist():
            bad[k] = (np.nan, np.nan)  # the sums contradict each other: nothing is proved
        return sorted((Derivable(self.keys[k], float(a), float(b)) for k, (a, b) in bad.items()), key=lambda d: d.key)

    def _narrowed(self) -> tuple[Floats, Floats, bool]:
        """Narrow every range by every sum until nothing moves; False where it still moved in the last sweep."""
        low, high = self.low.copy(), self.high.copy()
        plus = self.weight > 0
        for _ in range(SWEEPS):
            a = np.where(plus, low[self.of_cell], -high[self.of_cell])
            b = np.where(plus, high[self.of_cell], -low[self.of_cell])
            least, most = (np.bincount(self.of_sum, x, self.n_sums)[self.of_sum] for x in (a, b))
            top, foot = a - least, b - most  # a sum is 0: its other parts leave this much
            new_low, new_high = low.copy(), high.copy()
            np.maximum.at(new_low, self.of_cell, np.where(plus, foot, -top))
            np.minimum.at(new_high, self.of_cell, np.where(plus, top, -foot))
            new_low, new_high = _far(new_low), _far(new_high)
            moved = (new_low > low + SLACK) | (new_high < high - SLACK)
            low, high = np.where(moved, new_low, low), np.where(moved, new_high, high)
            if not moved.any() or (low > high + SLACK).any():
                return low, high, True
        return low, high, False

    def _groups(self, edges: NDArray[np.bool_]) -> tuple[Places, Places]:
        """Number the groups of sums that share a cell nobody sees: the group of each cell and of each sum."""
        n = len(self.keys)
        graph = csr_matrix((np.ones(int(edges.sum())), (self.of_cell[edges], n + self.of_sum[edges])),
                           shape=(n + self.n_sums,) * 2)  # fmt: skip
        labels = connected_components(graph, directed=False)[1].astype(np.int64)
        return labels[:n], labels[n:]

    def _rings(
        self, edges: NDArray[np.bool_], unseen: NDArray[np.bool_], of_cell: Places, of_sum: Places, at_rest: bool
    ) -> set[int]:
        """The groups in which a chain of sums comes back to where it began: there narrowing may miss something."""
        n = int(max(of_cell.max(initial=-1), of_sum.max(initial=-1))) + 1
        nodes = np.bincount(of_cell[unseen], minlength=n) + np.bincount(
            of_sum[np.unique(self.of_sum[edges])], minlength=n)  # fmt: skip
        ties = np.bincount(of_sum[self.of_sum[edges]], minlength=n)
        is_ring = ties > (nodes - 1 if at_rest else 0)
        return set(np.flatnonzero(is_ring & (ties > 0)).tolist())

    def _by_programs(
        self, group: int, edges: NDArray[np.bool_], of_cell: Places, of_sum: Places
    ) -> dict[int, tuple[float, float]]:
        """The cells of one group that linear programs narrow too far, with what is left of them."""
        inside = of_sum[self.of_sum] == group
        mine = np.unique(self.of_cell[inside & edges])
        protected = [int(k) for k in mine if not self.cells[k].is_free]
        if not protected:
            return {}
        matrix, rest, cells, sums = self._equations(inside, edges)
        name = (tuple(cells), tuple(sums), tuple(rest), tuple(self.low[cells]), tuple(self.high[cells]))
        if name not in self._known:
            bounds = np.column_stack((self.low[cells], self.high[cells]))
            asked = {int(np.searchsorted(cells, k)): self._is_enough(self.cells[k]) for k in protected}
            left = ranges_left(matrix, rest, bounds, asked)
            self._known[name] = {int(cells[k]): found for k, found in left.items()}
        return self._known[name]

    def proof(self, found: Derivable) -> tuple[set[str], set[str]]:
        """The shown and the unseen cells of the sums that together narrow a cell: one of the shown must go."""
        unseen = np.array([c.count is None for c in self.cells], dtype=bool)
        edges = unseen[self.of_cell]
        of_cell, of_sum = self._groups(edges)
        k = self.place[found.key]
        inside = of_sum[self.of_sum] == of_cell[k]
        matrix, rest, cells, sums = self._equations(inside, edges)
        bounds = np.column_stack((self.low[cells], self.high[cells]))
        low_too_high = found.low > 1 + SLACK if self.cells[k].is_small else True
        used = sums[sums_used(matrix, rest, bounds, int(np.searchsorted(cells, k)), 1.0 if low_too_high else -1.0)]
        reached = np.unique(self.of_cell[np.isin(self.of_sum, used)])
        return ({self.keys[c] for c in reached if not unseen[c]}, {self.keys[c] for c in reached if unseen[c]})

    def _equations(
        self, inside: NDArray[np.bool_], edges: NDArray[np.bool_]
    ) -> tuple[csr_matrix, Floats, Places, Places]:
        """The sums of one group over its unseen cells: matrix, what they add up to, cells (columns), sums (rows)."""
        hidden, shown = inside & edges, inside & ~edges
        cells, sums = np.unique(self.of_cell[hidden]), np.unique(self.of_sum[hidden])
        known = self.weight[shown] * self.low[self.of_cell[shown]]
        rest = -np.bincount(self.of_sum[shown], known, self.n_sums)[sums].astype(np.float64)
        rows, columns = np.searchsorted(sums, self.of_sum[hidden]), np.searchsorted(cells, self.of_cell[hidden])
        return csr_matrix((self.weight[hidden], (rows, columns)), shape=(len(sums), len(cells))), rest, cells, sums

    def _is_enough(self, cell: Cell) -> tuple[float, float, float]:
        """What a range must hold to be open: its low end at most, its high end at least, its width at least."""
        if cell.is_small:
            return 1 + SLACK, self.limit - SLACK, 0.0
        return np.inf, -np.inf, self.limit - 1 - SLACK


def _far(ends: Floats) -> Floats:
    """An end beyond any cohort is no end."""
    return np.where(np.abs(ends) > FAR / 2, np.sign(ends) * FAR, ends)


def _entries(sums: Sequence[Partition], place: Mapping[str, int]) -> list[tuple[int, int, float]]:
    """The sums as (number, cell, weight): total less parts is 0; each once, those with an unknown key left out."""
    found: dict[tuple[tuple[int, float], ...], None] = {}
    for total in sums:
        if total.total in place and all(p in place for p in total.parts):
            weights = {place[total.total]: 1.0}
            for part in total.parts:
                weights[place[part]] = weights.get(place[part], 0.0) - 1.0
            found[tuple(sorted((k, w) for k, w in weights.items() if w))] = None
    return [(number, k, w) for number, weights in enumerate(found) for k, w in weights]


def derivable_cells(cells: Mapping[str, Cell], sums: Sequence[Partition], limit: int) -> list[Derivable]:
    """List the hidden cells that the published sums narrow too far, in order of their keys; empty means safe.

    cells: every counted result by key. sums: which counts add up to which. limit: largest small count (10).
    """
    return Audit(cells, sums, limit).derivable()
