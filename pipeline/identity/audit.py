"""The disclosure audit: what could a reader derive for each hidden cell from the sums that were published?

Each count is a variable; a shown one is fixed, a hidden small one lies in 1..limit, another hidden one is at least 0.
Linear programming gives the range that the published sums leave open. A small cell must keep the whole of 1..limit; a
protecting cell must keep at least as many possible values.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.results import Partition

SLACK = 1e-6


@dataclass(frozen=True)
class Cell:
    """One count: None where hidden; `is_small` tells a hidden 1..limit from a cell that protects another."""

    count: int | None
    is_small: bool = False


@dataclass(frozen=True)
class Derivable:
    """A hidden cell that a reader can narrow to `low`..`high` people."""

    key: str
    low: float
    high: float


def _linked(sums: Sequence[Partition], cells: Mapping[str, Cell]) -> list[list[Partition]]:
    """Split the sums into groups that share a hidden cell: each group is a small problem of its own."""
    owner: dict[str, int] = {}
    groups: dict[int, list[Partition]] = {}
    for number, total in enumerate(sums):
        groups[number] = [total]
        for key in (total.total, *total.parts):
            if key not in cells or cells[key].count is not None:
                continue
            other = owner.get(key, number)
            if other != number:
                groups[number].extend(groups.pop(other))
                owner = {k: number if v == other else v for k, v in owner.items()}
            owner[key] = number
    return [g for g in groups.values() if any(cells[k].count is None for s in g for k in (s.total, *s.parts)
                                              if k in cells)]


def _ranges(group: Sequence[Partition], cells: Mapping[str, Cell], limit: int) -> list[Derivable]:
    """Return the derivable range of each hidden cell of one group of sums."""
    from scipy.optimize import linprog

    complete = [s for s in group if all(k in cells for k in (s.total, *s.parts))]
    names = sorted({k for s in complete for k in (s.total, *s.parts)})
    at = {k: i for i, k in enumerate(names)}
    matrix = np.zeros((len(complete), len(names)))
    for row, total in enumerate(complete):
        for part in total.parts:
            matrix[row, at[part]] += 1.0
        matrix[row, at[total.total]] -= 1.0
    bounds = [(1.0, float(limit)) if cells[k].is_small and cells[k].count is None
              else (0.0, None) if cells[k].count is None
              else (float(cells[k].count or 0), float(cells[k].count or 0)) for k in names]
    found = []
    for key in (k for k in names if cells[k].count is None):
        aim = np.zeros(len(names))
        aim[at[key]] = 1.0
        ends = [linprog(sign * aim, A_eq=matrix, b_eq=np.zeros(len(complete)), bounds=bounds, method="highs")
                for sign in (1.0, -1.0)]
        if 2 in (ends[0].status, ends[1].status):  # the sums contradict each other: nothing is proved
            found.append(Derivable(key, float("nan"), float("nan")))
            continue
        low = float(ends[0].fun) if ends[0].status == 0 else 0.0
        high = -float(ends[1].fun) if ends[1].status == 0 else float("inf")
        found.append(Derivable(key, low, high))
    return found


def derivable_cells(cells: Mapping[str, Cell], sums: Sequence[Partition], limit: int) -> list[Derivable]:
    """List the hidden cells that the published sums narrow too far, in order of their keys; empty means safe.

    cells: every counted result by key. sums: which counts add up to which. limit: largest small count (10).
    """
    narrow = []
    for group in _linked(sums, cells):
        for cell in _ranges(group, cells, limit):
            if cells[cell.key].is_small:
                good = cell.low <= 1 + SLACK and cell.high >= limit - SLACK
            else:
                good = cell.high - cell.low >= limit - 1 - SLACK
            if not good:
                narrow.append(cell)
    return sorted(narrow, key=lambda c: c.key)
