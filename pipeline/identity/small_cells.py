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

from pipeline.identity.audit import Audit, Derivable, derivable_cells
from pipeline.identity.marks import (
    CHANGED,
    MERGED,
    PROTECTS,
    VAGUE,
    hides_count_only,
    is_near,
    near_mark,
    small_mark,
    split_mark,
)
from pipeline.identity.merging import merged, merges
from pipeline.identity.shared_ledger import (
    NOTHING_BEFORE,
    UNPRINTED,
    Before,
    Ledger,
    counted,
    is_share,
    people_behind,
)
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


class Sheet:
    """The rows of an edition by key, and those of one group together."""

    def __init__(self, rows: Iterable[Result]) -> None:
        self.rows = {r.key: r for r in rows if r.klass == "aggregate"}
        self.of_group: dict[str, list[str]] = {}
        for key, row in self.rows.items():
            self.of_group.setdefault(row.group, []).append(key)

    def shown_twins(self, key: str, hidden: Mapping[str, str]) -> list[str]:
        """List the shown rows that print the same count of the same group as `key`: to hide one is to hide all."""
        count = counted(self.rows[key])
        return [k for k in self.of_group[self.rows[key].group] if k not in hidden and _prints(self.rows[k], count)]

    def hide(self, hidden: dict[str, str], key: str, mark: str) -> None:
        """Hide a row and its twins."""
        hidden[key] = mark
        hidden |= dict.fromkeys(self.shown_twins(key, hidden), mark)


def _prints(row: Result, count: int | None) -> bool:
    return counted(row) == count or (is_share(row) and row.n == count)


def _splits(sums: Iterable[Partition]) -> list[Partition]:
    """The sums all of whose parts are printed somewhere."""
    return [s for s in sums if not any(p.startswith(UNPRINTED) for p in s.parts)]


def next_to_hide(rows: Mapping[str, Result], sums: Iterable[Partition], hidden: Mapping[str, str]) -> str | None:
    """Return a shown part of a sum that stands beside exactly one hidden part, the smallest count first."""
    for total in sums:
        parts = [p for p in total.parts if p in rows]
        gone = [p for p in parts if p in hidden]
        shown = [p for p in parts if p not in hidden and (counted(rows[p]) or 0) > 0]
        if len(gone) == 1 and total.total in rows and total.total not in hidden:
            return min(shown, key=lambda p: (counted(rows[p]) or 0, p)) if shown else total.total
    return None


def choose_hidden(results: ResultSet, limit: int, before: Before = NOTHING_BEFORE) -> dict[str, str]:
    """Return key -> mark for every row to hide, complements and audit findings included.

    before: earlier editions. A count that has moved by 1 to `limit` people since one of them printed it is hidden.
    """
    return _hide_until_safe(results, _hidden_at_sight(results, limit, before), limit, before)


def _hidden_at_sight(results: ResultSet, limit: int, before: Before) -> dict[str, str]:
    """What is hidden before any audit: small counts, moved ones, and their complements within single sums."""
    sheet = Sheet(results.rows)
    rows = sheet.rows
    hidden = {k: r.text for k, r in rows.items() if r.text == MERGED}
    for key, row in rows.items():
        if is_small(row, limit) and key not in hidden:
            hidden[key] = small_mark(limit)
    for key in list(hidden):
        if (counted(rows[key]) or 0) in range(1, limit + 1) and hidden[key] != MERGED:
            sheet.hide(hidden, key, small_mark(limit))
    for key, printed in before.moved.items():
        if key not in hidden:
            hidden[key] = CHANGED if printed is None else near_mark(printed, limit)
    for key in before.moved:
        hidden |= dict.fromkeys(sheet.shown_twins(key, hidden), CHANGED)
    splits = _splits(results.partitions)
    _hide_splits_of_small_totals(rows, splits, hidden, limit)
    while (beside := next_to_hide(rows, splits, hidden)) is not None:
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


class _Audited:
    """The marks while they are chosen, and what the audit says of them."""

    def __init__(self, results: ResultSet, hidden: dict[str, str], limit: int, before: Before) -> None:
        self.sheet = Sheet(results.rows)
        self.rows = self.sheet.rows
        self.limit, self.hidden = limit, hidden
        self.asked: dict[str, str] = {}
        self.ledger = Ledger(self.rows, results.partitions, limit, before)
        self.by_key: dict[str, list[Partition]] = {}
        for total in self.ledger.sums:
            for key in (total.total, *total.parts):
                self.by_key.setdefault(key, []).append(total)
        self.audit = Audit(self.ledger.cells, self.ledger.sums, limit)

    def found(self, *, told: bool) -> list[Derivable]:
        """Hidden cells that can be derived; `told`: from the marks too, else from the sums alone."""
        for key, mark in self.hidden.items():
            weaker = mark if told or mark in (MERGED, split_mark(self.limit)) else VAGUE
            if self.asked.get(key) != weaker:
                self.asked[key] = weaker
                for name, cell in self.ledger.hide(key, weaker).items():
                    self.audit.set(name, cell)
        return self.audit.derivable()

    def _beside(self, key: str, *, far: bool) -> set[str]:
        """The keys that the sums tie to `key`; `far`: walking on through cells that nobody sees."""
        reached, edge = {key}, [key]
        while edge:
            for total in self.by_key.get(edge.pop(), []):
                ring = {total.total, *total.parts}
                if far:
                    edge += sorted(k for k in ring - reached if self._is_unseen(k))
                reached |= ring
        return reached

    def _is_unseen(self, key: str) -> bool:
        return key in self.ledger.cells and self.ledger.cells[key].count is None

    def hide_beside(self, found: list[Derivable]) -> bool:
        """Hide one more count beside each of the cells found; tell whether there was one."""
        changed, touched = False, set[str]()
        for narrow in found:
            if narrow.key in touched:
                continue
            for far in (False, True):
                ring = self._beside(narrow.key, far=far)
                shown = [(counted(self.rows[k]) or 0, k) for k in ring if k in self.rows and k not in self.hidden]
                if shown:
                    self.sheet.hide(self.hidden, min(shown, key=lambda pair: (pair[0] == 0, pair))[1], PROTECTS)
                    touched, changed = touched | ring, True
                    break
        return changed

    def say_less(self, found: list[Derivable]) -> bool:
        """Give the cells found, or else all that nobody sees beside them, a mark that tells nothing."""
        for keys in ({n.key for n in found}, *(self._beside(n.key, far=True) for n in found)):
            telling = [k for k in keys if (mark := self.hidden.get(k)) is not None
                       and (mark in (small_mark(self.limit), PROTECTS, CHANGED) or is_near(mark))]
            if telling:
                self.hidden |= dict.fromkeys(telling, VAGUE)
                return True
        return False


def _hide_until_safe(results: ResultSet, hidden: dict[str, str], limit: int, before: Before) -> dict[str, str]:
    """Hide one more count tied to each cell that the sums give away, until the audit finds none; return the marks.

    Then marks that tell too much beside the sums are made vague. Where nothing shown is left to hide the cell stays
    found, and the audit of the finished edition refuses it.
    """
    audited = _Audited(results, hidden, limit, before)
    while (found := audited.found(told=False)) and audited.hide_beside(found):
        pass
    while (found := audited.found(told=True)) and audited.say_less(found):
        pass
    return hidden


TELLS_N = ("SD",)
"""Units whose value, beside the interval of the same mean, gives the number of people back."""


def _tells_n(row: Result) -> bool:
    return row.unit in TELLS_N or "_sd_" in row.statistic


def blank(row: Result, mark: str) -> Result:
    """Return the row with every number gone and the mark in its place.

    A mean, a contrast or a quantile whose count only protects another loses the count alone: its value is no count.
    """
    if hides_count_only(mark) and row.value is not None and row.hits is None and row.unit != "people" \
            and not _tells_n(row):
        return replace(row, n=None, n_people=None, note="; ".join(filter(None, (row.note, f"n {mark}"))))
    return replace(row, n=None, n_people=None, hits=None, value=None, low=None, high=None, text=mark)


def protect(results: ResultSet, limit: int = 10, before: Before = NOTHING_BEFORE) -> ResultSet:
    """Return the shared edition of the results: client rows dropped, small cells and their complements hidden.

    limit: the largest count that is hidden (10 by the source above). Where a split would lose most of its parts they
    are put together first (`pipeline.identity.merging`). Sums stay declared, so that the audit can run.
    """
    shown = ResultSet(tuple(r for r in results.rows if r.klass == "aggregate"), results.partitions)
    if found := merges(shown, _hidden_at_sight(shown, limit, before), limit):
        shown = merged(shown, found)
    hidden = choose_hidden(shown, limit, before)
    return ResultSet(tuple(blank(r, hidden[r.key]) if r.key in hidden else r for r in shown.rows), shown.partitions)


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
    for key, mark in marks_of(rows, shared).items():
        ledger.hide(key, mark)
    return ledger
