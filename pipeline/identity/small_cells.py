"""Small-cell suppression for the shared edition: hide counts of 1 to `limit`, and what would give them back.

Source of the rule: CMS cell size suppression policy (cells of 1 to 10 are not shown, 0 may be; nothing that lets one be
derived, excluded cases included). A result is hidden when the people behind it, or the numerator of its share, or that
numerator's complement, are 1 to `limit`. Where a published sum would give a hidden part back, the next smallest part is
hidden too ("protects another"). `pipeline.identity.audit` then proves by linear programming that no hidden cell can be
derived.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from pipeline.identity.audit import Derivable, derivable_cells
from pipeline.identity.few_digits import COUNTED_ROWS, is_mean, mixed, told
from pipeline.identity.hiding import Sheet, hide_until_safe
from pipeline.identity.marks import CHANGED, MERGED, PROTECTS, hides_count_only, near_mark, small_mark, split_mark
from pipeline.identity.merging import merged, merges
from pipeline.identity.shared_ledger import NOTHING_BEFORE, UNPRINTED, Before, Ledger, counted, people_behind
from pipeline.results import Partition, Result, ResultSet

__all__ = ["MERGED", "PROTECTS", "broken_sums", "derivable_after", "protect", "small_mark", "split_mark"]


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


def choose_hidden(results: ResultSet, limit: int, before: Before = NOTHING_BEFORE) -> dict[str, str]:
    """Return key -> mark for every row to hide, complements and audit findings included.

    before: earlier editions. A count that has moved by 1 to `limit` people since one of them printed it is hidden.
    """
    sheet = Sheet(results, limit, before)
    hidden = hidden_at_sight(sheet, before)
    return hide_until_safe(sheet, hidden)


def _splits(sums: Iterable[Partition]) -> list[Partition]:
    """The sums all of whose parts are printed somewhere."""
    return [s for s in sums if len(s.parts) > 1 and not any(p.startswith(UNPRINTED) for p in s.parts)]


def next_to_hide(sheet: Sheet, sums: Iterable[Partition], hidden: Mapping[str, str]) -> str | None:
    """Return a shown part of a sum that stands beside exactly one hidden part, the one least missed first."""
    rows = sheet.rows
    for total in sums:
        parts = [p for p in total.parts if p in rows]
        gone = [p for p in parts if p in hidden]
        shown = [p for p in parts if p not in hidden and (counted(rows[p]) or 0) > 0]
        if len(gone) == 1 and total.total in rows and total.total not in hidden:
            return min(shown, key=lambda p: (sheet.cost(p), counted(rows[p]) or 0, p)) if shown else total.total
    return None


def hidden_at_sight(sheet: Sheet, before: Before) -> dict[str, str]:
    """What is hidden before any audit: small counts, moved ones, and their complements within single sums."""
    rows, limit = sheet.rows, sheet.limit
    hidden = {k: r.text for k, r in rows.items() if r.text == MERGED}
    for key, row in rows.items():
        if is_small(row, limit) and key not in hidden:
            hidden[key] = small_mark(limit)
    for key, printed in before.moved.items():
        if key not in hidden:
            hidden[key] = CHANGED if printed is None else near_mark(printed, limit)
    for key, mark in list(hidden.items()):
        if mark != MERGED and (mark != small_mark(limit) or 1 <= (counted(rows[key]) or 0) <= limit):
            sheet.hide(hidden, key, mark if mark == small_mark(limit) else CHANGED)
        elif mark == MERGED and (counted(rows[key]) or 0) > limit:
            sheet.hide(hidden, key, PROTECTS)  # what prints a part's count elsewhere gives the other parts away
    splits = _splits(sheet.ledger.declared)
    _hide_splits_of_small_totals(rows, splits, hidden, limit)
    while (beside := next_to_hide(sheet, splits, hidden)) is not None:
        sheet.hide(hidden, beside, PROTECTS)
    return hidden


def _hide_splits_of_small_totals(
    rows: Mapping[str, Result], sums: Iterable[Partition], hidden: dict[str, str], limit: int
) -> None:
    """A hidden total of 1..limit is not split at all: its parts would be known to be smaller still."""
    marks = (small_mark(limit), split_mark(limit))
    again = True
    while again:
        again = False
        for total in sums:
            if hidden.get(total.total) not in marks or len(total.parts) < 2:
                continue
            for part in total.parts:
                if part in rows and hidden.get(part) not in (split_mark(limit), MERGED):
                    hidden[part] = split_mark(limit)
                    again = True


TELLS_N = ("SD", "degrees of freedom")
"""Units whose value, beside the interval of the same mean, gives the number of people back."""


def _tells_n(row: Result) -> bool:
    return row.unit in TELLS_N or "_sd_" in row.statistic or row.statistic.endswith("_se")


def blank(row: Result, mark: str, limit: int) -> Result:
    """Return the row as it is shown under a mark.

    A mean, a contrast or a quantile whose count only protects another loses the count alone: its value is no count.
    One of 1 to `limit` people loses its value under any mark.
    """
    if is_mean(row) and hides_count_only(mark) and not is_small(row, limit) and not _tells_n(row):
        return replace(row, n=None, n_people=None, note="; ".join(filter(None, (row.note, f"n {mark}"))))
    return blanked(row, mark)


def blanked(row: Result, mark: str) -> Result:
    """Return the row with every number gone and the mark in its place."""
    return replace(row, n=None, n_people=None, hits=None, value=None, low=None, high=None, text=mark)


def protect(results: ResultSet, limit: int = 10, before: Before = NOTHING_BEFORE) -> ResultSet:
    """Return the shared edition of the results: client rows dropped, small cells and their complements hidden.

    limit: the largest count that is hidden (10 by the source above). Where a split would lose most of its parts they
    are put together first (`pipeline.identity.merging`). Sums stay declared, so that the audit can run. What is left
    has few digits (`pipeline.identity.few_digits`).
    """
    shown = ResultSet(tuple(r for r in results.rows if r.klass == "aggregate"), results.partitions)
    if found := merges(shown, hidden_at_sight(Sheet(shown, limit, before), before), limit):
        shown = merged(shown, found)
    hidden = choose_hidden(shown, limit, before)
    rows = {r.key: blank(r, hidden[r.key], limit) if r.key in hidden else r for r in shown.rows
            if not (r.key in hidden and r.statistic.endswith(COUNTED_ROWS))}  # fmt: skip
    counts = {r.key: counted(r) or 0 for r in shown.rows}
    for key in mixed(rows, shown.partitions, counts):
        rows[key] = blanked(rows[key], hidden[key])
    return ResultSet(tuple(told(r, has_lost_n=k in hidden) for k, r in rows.items()), shown.partitions)


def _before_blanking(results: ResultSet, shared: ResultSet) -> dict[str, Result]:
    """The rows of a shared edition with their true counts: a row for several parts counts what they count."""
    rows = {r.key: r for r in results.rows if r.klass == "aggregate"}
    parts = {s.total: s.parts for s in shared.partitions if all(p in rows for p in s.parts)}
    added = {r.key: replace(r, n=sum(counted(rows[p]) or 0 for p in parts[r.key]), n_of="people")
             for r in shared.rows if r.key not in rows and r.key in parts}
    return rows | added


def marks_of(rows: Mapping[str, Result], shared: ResultSet) -> dict[str, str]:
    """Key to mark of every row of a shared edition that does not show its count, from the edition itself."""
    found = {}
    for row in shared.rows:
        if row.n is None and row.n_people is None and people_behind(rows[row.key]) is not None:
            beside = next((p[2:] for p in row.note.split("; ") if p.startswith(("n hidden", "n within"))), "")
            found[row.key] = beside or row.text
    return found


def derivable_after(
    results: ResultSet, shared: ResultSet, limit: int = 10, before: Before = NOTHING_BEFORE
) -> list[Derivable]:
    """Audit a shared edition against the results it was made from: list the hidden cells that can be derived."""
    ledger = ledger_of(results, shared, limit, before)
    return derivable_cells(ledger.cells, ledger.sums, limit)


def ledger_of(results: ResultSet, shared: ResultSet, limit: int, before: Before = NOTHING_BEFORE) -> Ledger:
    """The ledger of a finished edition: what its rows show and hide, from the rows themselves."""
    rows = _before_blanking(results, shared)
    ledger = Ledger(rows, shared.partitions, limit, before)
    left_out = rows.keys() - {r.key for r in shared.rows}
    for key, mark in (marks_of(rows, shared) | dict.fromkeys(sorted(left_out), MERGED)).items():
        ledger.mark(key, mark)
    return ledger
