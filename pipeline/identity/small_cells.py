"""Small-cell suppression for the shared edition: hide counts of 1 to `limit`, and what would give them back.

Source of the rule: CMS cell size suppression policy (cells of 1 to 10 are not shown, 0 may be; nothing that lets one be
derived, excluded cases included). A result is hidden when the people behind it, or the numerator of its share, or that
numerator's complement, are 1 to `limit`. Where a published sum would give a hidden part back, the next smallest part is
hidden too ("protects another"). `pipeline.identity.audit` then proves by linear programming that no hidden cell can be
derived.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from dataclasses import replace

from pipeline.identity.audit import Cell, Derivable, derivable_cells
from pipeline.results import Partition, Result, ResultSet

PROTECTS = "hidden (protects another)"


def small_mark(limit: int) -> str:
    """The words that stand in place of a hidden small cell."""
    return f"hidden (n<{limit + 1})"


def split_mark(limit: int) -> str:
    """The words in place of a part of a total that is itself a hidden small cell."""
    return f"hidden (total n<{limit + 1})"


def people_behind(row: Result) -> int | None:
    """Return the number of people behind a row, or None where none is stated."""
    return row.n if row.n_of == "people" else row.n_people


def counted(row: Result) -> int | None:
    """Return the count that a row adds to a sum: its numerator where it is a share, else the people behind it."""
    return row.hits if row.hits is not None else people_behind(row)


def is_small(row: Result, limit: int) -> bool:
    """Tell whether a row shows, or gives away, 1 to `limit` people."""
    people = people_behind(row)
    counts = [people]
    if row.hits is not None:
        counts.append(row.hits)
        if row.n is not None:
            counts.append(row.n - row.hits)
    return any(c is not None and 1 <= c <= limit for c in counts)


def broken_sums(results: ResultSet) -> list[str]:
    """List the totals of declared sums that their parts do not add up to: on those the audit would prove nothing."""
    count = {r.key: counted(r) for r in results.rows}
    wrong = []
    for total in results.partitions:
        known = [count.get(k) for k in (total.total, *total.parts)]
        if all(n is not None for n in known) and known[0] != sum(n for n in known[1:] if n is not None):
            wrong.append(total.total)
    return wrong


def shown_twins(rows: dict[str, Result], key: str, hidden: Iterable[str]) -> list[str]:
    """List the shown rows that print the same count of the same group as `key`: to hide one is to hide all."""
    row, gone = rows[key], set(hidden)
    count = counted(row)
    return [k for k, r in rows.items() if k not in gone and r.group == row.group and counted(r) == count]


def next_to_hide(rows: dict[str, Result], sums: Iterable[Partition], hidden: dict[str, str]) -> str | None:
    """Return a shown part of a sum that stands beside exactly one hidden part, the smallest count first."""
    for total in sums:
        parts = [p for p in total.parts if p in rows]
        gone = [p for p in parts if p in hidden]
        shown = [p for p in parts if p not in hidden and (counted(rows[p]) or 0) > 0]
        if len(gone) == 1 and total.total in rows and total.total not in hidden:
            return min(shown, key=lambda p: (counted(rows[p]) or 0, p)) if shown else total.total
    return None


def _hide(rows: dict[str, Result], hidden: dict[str, str], key: str, mark: str) -> None:
    hidden[key] = mark
    for twin in shown_twins(rows, key, hidden):
        hidden[twin] = mark


def ledger(rows: dict[str, Result], hidden: dict[str, str], limit: int) -> dict[str, Cell]:
    """Return every counted row as an audit cell: its count where shown, its mark where hidden.

    A share hidden because the rest of it is small counts as a protecting cell: its own numerator is not small.
    """
    small = small_mark(limit)
    return {
        key: Cell(None if key in hidden else count, hidden.get(key) == small and 1 <= count <= limit)
        for key, row in rows.items() if (count := counted(row)) is not None
    }


def choose_hidden(results: ResultSet, limit: int) -> dict[str, str]:
    """Return key -> mark for every row to hide, complements and audit findings included."""
    rows = {r.key: r for r in results.rows if r.klass == "aggregate"}
    hidden: dict[str, str] = {}
    for key, row in rows.items():
        if is_small(row, limit) and key not in hidden:
            hidden[key] = small_mark(limit)
    for key in list(hidden):
        if (counted(rows[key]) or 0) in range(1, limit + 1):
            _hide(rows, hidden, key, small_mark(limit))
    _hide_splits_of_small_totals(rows, results.partitions, hidden, limit)
    while (beside := next_to_hide(rows, results.partitions, hidden)) is not None:
        _hide(rows, hidden, beside, PROTECTS)
    return _hide_until_safe(rows, results.partitions, hidden, limit)


def _hide_splits_of_small_totals(
    rows: dict[str, Result], sums: tuple[Partition, ...], hidden: dict[str, str], limit: int
) -> None:
    """A hidden total of 1..limit is not split at all: its parts would be known to be smaller still."""
    marks = (small_mark(limit), split_mark(limit))
    again = True
    while again:
        again = False
        for total in sums:
            if hidden.get(total.total) not in marks:
                continue
            for part in total.parts:
                if part in rows and hidden.get(part) != split_mark(limit) and counted(rows[part]):
                    hidden[part] = split_mark(limit)
                    again = True


def _around(start: str, sums: tuple[Partition, ...], hidden: dict[str, str]) -> set[str]:
    """Return every key that the sums tie to `start`, walking through hidden cells only."""
    reached, edge = {start}, [start]
    while edge:
        here = edge.pop()
        for total in sums:
            ring = {total.total, *total.parts}
            if here in ring:
                edge.extend(sorted(k for k in ring - reached if k in hidden))
                reached |= ring
    return reached


def _hide_until_safe(
    rows: dict[str, Result], sums: tuple[Partition, ...], hidden: dict[str, str], limit: int
) -> dict[str, str]:
    """Hide one more count tied to each cell that the sums give away, until the audit finds none; return the marks.

    Where nothing shown is left to hide the cell stays found, and the audit of the finished edition refuses it.
    """
    before, known = -1, dict[Hashable, list[Derivable]]()
    while len(hidden) > before and (found := derivable_cells(ledger(rows, hidden, limit), sums, limit, known)):
        before = len(hidden)
        touched: set[str] = set()
        for narrow in found:
            if narrow.key not in touched:
                ring = _around(narrow.key, sums, hidden)
                touched |= ring
                shown = [(counted(rows[k]) or 0, k) for k in ring if k in rows and k not in hidden]
                if shown:
                    _hide(rows, hidden, min(shown, key=lambda pair: (pair[0] == 0, pair))[1], PROTECTS)
    return hidden


def blank(row: Result, mark: str) -> Result:
    """Return the row with every number gone and the mark in its place.

    A mean, a contrast or a quantile whose count only protects another loses the count alone: its value is no count.
    """
    if mark == PROTECTS and row.value is not None and row.hits is None and row.unit != "people":
        return replace(row, n=None, n_people=None, note="; ".join(filter(None, (row.note, f"n {mark}"))))
    return replace(row, n=None, n_people=None, hits=None, value=None, low=None, high=None, text=mark)


def protect(results: ResultSet, limit: int = 10) -> ResultSet:
    """Return the shared edition of the results: client rows dropped, small cells and their complements hidden.

    limit: the largest count that is hidden (10 by the source above). Sums stay declared, so that the audit can run.
    """
    hidden = choose_hidden(results, limit)
    kept = (r for r in results.rows if r.klass == "aggregate")
    return ResultSet(tuple(blank(r, hidden[r.key]) if r.key in hidden else r for r in kept), results.partitions)


def derivable_after(results: ResultSet, shared: ResultSet, limit: int = 10) -> list[Derivable]:
    """Audit a shared edition against the results it was made from: list the hidden cells that can be derived."""
    rows = {r.key: r for r in results.rows if r.klass == "aggregate"}
    marks = (small_mark(limit), split_mark(limit))
    gone = [r for r in shared.rows if r.n is None and r.n_people is None and people_behind(rows[r.key]) is not None]
    hidden = {r.key: r.text if r.text in marks else PROTECTS for r in gone}
    return derivable_cells(ledger(rows, hidden, limit), results.partitions, limit)
