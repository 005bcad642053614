"""Restatement: how far each headline number of the last review has moved since, and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from pipeline.analyse.common import Section, group
from pipeline.analyse.headlines import figure
from pipeline.results import Result, ResultSet

NONE_KEPT = "No review of an earlier quarter is kept in this store: there is nothing to restate."
CAUSES = ("program", "settings", "plan", "data")
UNMOVED = 1e-9
"""Relative difference below which a number has not moved."""


@dataclass(frozen=True)
class Step:
    """The headline numbers computed anew with one more thing of today; `cause` names that thing."""

    cause: str
    rows: Mapping[str, Result]


@dataclass(frozen=True)
class Printed:
    """One number of an earlier review: as printed, the people behind it, its unit; a count has no unit."""

    number: float
    people: int | None
    unit: str

    @property
    def is_count(self) -> bool:
        """True for a number of people."""
        return not self.unit


@dataclass(frozen=True)
class Earlier:
    """The last review: its quarter, and key to what it printed for its headlines."""

    quarter: str
    printed: Mapping[str, Printed]


def name_of(key: str) -> str:
    """The key of a result as part of a group: a group separates its own parts by semicolons."""
    return key.replace(";", ",")


def moves(key: str, printed: float, steps: Sequence[Step]) -> dict[str, float] | None:
    """How far each step moved one number; None where it cannot be had any more."""
    found, before = {}, printed
    for step in steps:
        row = step.rows.get(key)
        now = figure(row) if row is not None else None
        if now is None:
            return None
        found[step.cause] = now - before
        before = now
    return found


def has_moved(move: float, printed: float) -> bool:
    """Tell a move from the last bits of a float."""
    return abs(move) > UNMOVED * max(1.0, abs(printed))


def restatement(
    earlier: Earlier | None, steps: Sequence[Step], changed: pl.DataFrame, small_cell_max: int
) -> ResultSet:
    """Section "restated" of the quarter.

    steps: in the order program, settings, plan, data (those that can have changed). changed: columns table_name, how
    ('new', 'corrected', 'withdrawn'), n_rows, n_people: rows loaded since that speak of days up to its quarter's end.
    The people behind a restated mean stand beside it only where they are few enough to be hidden: two such numbers
    would tell how many came late.
    """
    section = Section("quarter", "restated")
    if earlier is None:
        section.state(NONE_KEPT)
        return section.done()
    section.add("last_review", text=earlier.quarter)
    moved = [_restated(section, key, printed, steps, small_cell_max) for key, printed in earlier.printed.items()]
    section.add("headlines_moved", n=len(moved), n_of="numbers", n_people=0, value=float(sum(moved)), unit="numbers",
                method="each computed again as of that quarter's end")  # fmt: skip
    columns = changed.sort("table_name", "how").select("table_name", "how", "n_rows", "n_people")
    for table, how, rows, people in columns.iter_rows():
        section.add("rows_since", group(table=table, how=how), n=rows, n_of="rows", n_people=people)
    return section.done()


def _restated(section: Section, key: str, printed: Printed, steps: Sequence[Step], small_cell_max: int) -> bool:
    """Add what was printed, what stands now and the moves of one number; tell whether it moved."""
    where = group(of=name_of(key))
    last = steps[-1].rows.get(key) if steps else None
    found = moves(key, printed.number, steps)
    if found is None or last is None:
        _put(section, "printed", where, printed, printed.number, printed.people, small_cell_max)
        section.add("stands_now", where, unit=printed.unit, text="cannot be given any more")
        return True
    people = last.n if last.n_of == "people" else last.n_people
    now, by = figure(last) or 0.0, sum(found.values())
    causes = [c for c in CAUSES if c in found and has_moved(found[c], printed.number)]
    before = _put(section, "printed", where, printed, printed.number, printed.people, small_cell_max)
    after = _put(section, "stands_now", where, printed, now, people, small_cell_max, low=last.low, high=last.high)
    move = _put(section, "moved", where, printed, by, int(abs(by)) if printed.is_count else people, small_cell_max,
                text=", ".join(causes) or "unchanged", method="what stands now less what was printed")  # fmt: skip
    if printed.is_count:
        section.sum_of(*((after, (before, move)) if by >= 0 else (before, (after, move))))
    for cause in causes if len(causes) > 1 and not printed.is_count else ():
        section.add("moved_by", f"{where};cause={cause}", value=found[cause], unit=printed.unit,
                    method="one thing of today at a time: program, then settings, then plan, then data")  # fmt: skip
    return bool(causes)


def _put(
    section: Section, statistic: str, where: str, printed: Printed, number: float, people: int | None,
    small_cell_max: int, **fields: Any,
) -> Result:  # fmt: skip
    """Add one number: a count with its people, anything else with its people only where they are few."""
    behind = people if printed.is_count or (people is not None and people <= small_cell_max) else None
    return section.add(statistic, where, value=number, unit=printed.unit or "people", n_people=behind,
                       n_of="people" if behind is None else "numbers", **fields)  # fmt: skip
