"""The disclosure audit: what could a reader derive for each hidden cell from the sums that were published?

Each count is a variable; a shown one is fixed, a hidden small one lies in 1..limit, another hidden one is at least 0.
Narrowing by single sums, and linear programming where sums form a ring, gives the range that the published sums leave
open. A small cell must keep the whole of 1..limit; a protecting cell must keep at least as many possible values.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.results import Partition

SLACK = 1e-6
Equation = tuple[tuple[tuple[str, float], ...], float]
"""Weights of hidden counts, and what they add up to."""
Ranges = dict[str, tuple[float, float]]


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


def _problem(group: Sequence[Partition], cells: Mapping[str, Cell], limit: int) -> tuple[list[Equation], Ranges]:
    """Return the sums as equations in the hidden counts alone, and the range each hidden count starts from."""
    equations: dict[Equation, None] = {}
    for total in group:
        signed = [(total.total, 1.0), *((part, -1.0) for part in total.parts)]
        if any(key not in cells for key, _ in signed):
            continue
        weights: dict[str, float] = {}
        rest = 0.0
        for key, sign in signed:
            count = cells[key].count
            if count is None:
                weights[key] = weights.get(key, 0.0) + sign
            else:
                rest -= sign * count
        equations[tuple(sorted(weights.items())), rest] = None
    hidden = sorted({key for weights, _ in equations for key, _ in weights})
    return list(equations), {k: (1.0, float(limit)) if cells[k].is_small else (0.0, np.inf) for k in hidden}


def _is_forest(equations: Sequence[Equation], ranges: Ranges) -> bool:
    """Tell whether no chain of equations comes back to where it began: then narrowing by single equations is exact."""
    owner: dict[str, str] = {}

    def root(name: str) -> str:
        while owner.get(name, name) != name:
            name = owner[name]
        return name

    for number, (weights, _) in enumerate(equations):
        for key, _ in weights:
            a, b = root(f"#{number}"), root(key)
            if a == b:
                return False
            owner[a] = b
    return True


def _narrowed(equations: Sequence[Equation], ranges: Ranges) -> Ranges:
    """Narrow each range by each equation until nothing moves (bounds consistency)."""
    now = dict(ranges)
    for _ in range(10 * len(equations) + 10):
        before = dict(now)
        for weights, rest in equations:
            for key, weight in weights:
                others = [(w, now[k]) for k, w in weights if k != key]
                low = sum(min(w * r[0], w * r[1]) for w, r in others)
                high = sum(max(w * r[0], w * r[1]) for w, r in others)
                ends = sorted(((rest - low) / weight, (rest - high) / weight))
                now[key] = (max(now[key][0], ends[0]), min(now[key][1], ends[1]))
        if now == before:
            break
    return now


def _by_programming(equations: Sequence[Equation], ranges: Ranges) -> Ranges:
    """The range that the equations together leave to each count, by two linear programs a count."""
    from scipy.optimize import linprog

    names = list(ranges)
    matrix = np.array([[dict(weights).get(k, 0.0) for k in names] for weights, _ in equations])
    rest = np.array([r for _, r in equations])
    bounds = [(low, None if np.isinf(high) else high) for low, high in ranges.values()]
    found: Ranges = {}
    for place, key in enumerate(names):
        aim = np.zeros(len(names))
        aim[place] = 1.0
        least, most = (linprog(way * aim, A_eq=matrix, b_eq=rest, bounds=bounds, method="highs") for way in (1.0, -1.0))
        if 2 in (least.status, most.status):  # the sums contradict each other: nothing is proved
            found[key] = (np.nan, np.nan)
        else:
            found[key] = (float(least.fun) if least.status == 0 else 0.0,
                          -float(most.fun) if most.status == 0 else np.inf)
    return found


def _narrow_of(group: Sequence[Partition], cells: Mapping[str, Cell], limit: int) -> list[Derivable]:
    """List the hidden cells of one group of sums that can be narrowed too far."""
    equations, ranges = _problem(group, cells, limit)
    found = _narrowed(equations, ranges)
    if any(low > high + SLACK for low, high in found.values()):
        return [Derivable(key, float("nan"), float("nan")) for key in found]
    if not _is_forest(equations, ranges) and _all_good(found, cells, limit):
        found = _by_programming(equations, ranges)
    return [Derivable(k, *r) for k, r in found.items() if not _is_good(r, cells[k], limit)]


def _is_good(left: tuple[float, float], cell: Cell, limit: int) -> bool:
    low, high = left
    if cell.is_small:
        return low <= 1 + SLACK and high >= limit - SLACK
    return high - low >= limit - 1 - SLACK


def _all_good(found: Ranges, cells: Mapping[str, Cell], limit: int) -> bool:
    """Narrowing by single equations never goes too far: what it finds is found, only its silence must be proved."""
    return all(_is_good(left, cells[key], limit) for key, left in found.items())


def derivable_cells(
    cells: Mapping[str, Cell], sums: Sequence[Partition], limit: int,
    known: dict[Hashable, list[Derivable]] | None = None,
) -> list[Derivable]:
    """List the hidden cells that the published sums narrow too far, in order of their keys; empty means safe.

    cells: every counted result by key. sums: which counts add up to which. limit: largest small count (10). known: a
    memory of groups already solved, for callers that ask again after hiding more.
    """
    memory = {} if known is None else known
    narrow: list[Derivable] = []
    for group in _linked(sums, cells):
        name = tuple((s, tuple(cells.get(k) for k in (s.total, *s.parts))) for s in group)
        if name not in memory:
            memory[name] = _narrow_of(group, cells, limit)
        narrow += memory[name]
    return sorted(narrow, key=lambda c: c.key)
