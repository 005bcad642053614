"""The ledger of a shared edition: every count that a reader sees, does not see, or could get by subtraction.

A share of people is three counts: its numerator (the row's key), its denominator (key + OF) and the rest (key + REST).
A part whose key begins with UNPRINTED is printed nowhere: it is what the sum leaves over, such as the people who came
since the last edition. `Before` holds the counts of earlier editions and how those of this one follow from them.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from pipeline.identity.audit import Cell
from pipeline.identity.marks import MERGED, range_told, split_mark
from pipeline.results import Partition, Result

OF, REST, UNPRINTED = "#of", "#rest", "unprinted: "


@dataclass(frozen=True)
class Before:
    """What earlier editions showed: their cells and true counts by key (each key with its quarter in front), the sums
    of their cells and to the cells of this edition, and the counts of this one that moved by 1 to the limit since one
    of them was printed (key to the printed count)."""

    cells: Mapping[str, Cell] = field(default_factory=dict)
    counts: Mapping[str, int] = field(default_factory=dict)
    sums: tuple[Partition, ...] = ()
    moved: Mapping[str, int | None] = field(default_factory=dict)


NOTHING_BEFORE = Before()


def people_behind(row: Result) -> int | None:
    """Return the number of people behind a row, or None where none is stated."""
    return row.n if row.n_of == "people" else row.n_people


def counted(row: Result) -> int | None:
    """Return the count that a row adds to a sum: its numerator where it is a share, else the people behind it."""
    return row.hits if row.hits is not None else people_behind(row)


def is_share(row: Result) -> bool:
    """Tell whether a row is a share of people."""
    return row.hits is not None and row.n is not None and row.n_of == "people"


def true_counts(rows: Mapping[str, Result], sums: Iterable[Partition], before: Before) -> dict[str, int]:
    """Every count by key, those of earlier editions and those printed nowhere included."""
    counts = dict(before.counts)
    for key, row in rows.items():
        if (count := counted(row)) is not None:
            counts[key] = count
        if is_share(row):
            counts[key + OF], counts[key + REST] = row.n or 0, (row.n or 0) - (row.hits or 0)
    for total in sums:
        unseen = [p for p in total.parts if p.startswith(UNPRINTED)]
        rest = [p for p in total.parts if p not in unseen]
        if len(unseen) == 1 and total.total in counts and all(p in counts for p in rest):
            counts[unseen[0]] = counts[total.total] - sum(counts[p] for p in rest)
    return counts


def with_share_sums(rows: Mapping[str, Result], sums: tuple[Partition, ...]) -> tuple[Partition, ...]:
    """The sums, and what every share says beside: numerator and rest make its denominator, which is its total."""
    shares = {k: r for k, r in rows.items() if is_share(r)}
    added = [Partition(k + OF, (k, k + REST)) for k in shares]
    by_group: dict[tuple[str, int], list[str]] = defaultdict(list)
    for key, row in rows.items():
        if row.hits is None and (n := people_behind(row)) is not None:
            by_group[row.group, n].append(key)
    for key, row in shares.items():
        added += [Partition(other, (key + OF,)) for other in by_group[row.group, row.n or 0]]
    for total in sums:
        whole = counted(rows[total.total]) if total.total in rows else None
        added += [Partition(total.total, (p + OF,)) for p in total.parts if p in shares and shares[p].n == whole]
    return (*sums, *dict.fromkeys(added))


def _unseen(count: int, limit: int) -> Cell:
    """A count that is printed nowhere: to be kept open where it is small."""
    small = 1 <= count <= limit
    return Cell(None, is_small=small, is_free=not small, known=(0.0, math.inf))


def _hidden(row: Result, count: int, mark: str, limit: int) -> Cell:
    if mark in (split_mark(limit), MERGED):
        return _unseen(count, limit)
    known = (0.0, math.inf) if is_share(row) else range_told(mark, count, limit)
    return Cell(None, is_small=1 <= count <= limit, is_free=count == 0, known=known)


class Ledger:
    """Every count of an edition as an audit cell, and every sum among them; rows are hidden one after the other.

    rows: by key, with their true counts. sums: as declared. `sums` adds what the shares say and those of `before`.
    """

    def __init__(self, rows: Mapping[str, Result], sums: tuple[Partition, ...], limit: int, before: Before) -> None:
        self.rows, self.limit, self.declared = rows, limit, sums
        self.sums = with_share_sums(rows, (*sums, *before.sums))
        self.counts = true_counts(rows, self.sums, before)
        self.cells = dict(before.cells)
        for key, count in self.counts.items():
            if key not in before.counts and key not in self.cells:
                self.cells[key] = _unseen(count, limit) if key.startswith(UNPRINTED) else Cell(count)

    def mark(self, key: str, mark: str | None) -> dict[str, Cell]:
        """Hide a row, `mark` standing in its place, or show it (None). Returns its cells as they are now."""
        row, count = self.rows[key], self.counts.get(key)
        if count is None:
            return {}
        fresh = {key: Cell(count) if mark is None else _hidden(row, count, mark, self.limit)}
        if is_share(row):
            of, rest = self.counts[key + OF], self.counts[key + REST]
            fresh[key + OF] = Cell(of) if mark is None else Cell(None, is_free=True)
            fresh[key + REST] = Cell(rest) if mark is None else _unseen(rest, self.limit)
        self.cells |= fresh
        return fresh
