"""Which counts to hide beside the small ones, until no sum gives any of them away, at the least cost to a reader."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from pipeline.identity.audit import Audit, Derivable
from pipeline.identity.few_digits import is_mean
from pipeline.identity.marks import CHANGED, MERGED, PROTECTS, SAME, VAGUE, is_near, small_mark, split_mark
from pipeline.identity.shared_ledger import OF, Before, Ledger, counted, is_share, people_behind
from pipeline.results import Partition, Result, ResultSet

IMPORTANT = (("common.data.people", ""), ("quarter.who.people[period=this]", ""),
             ("quarter.counted.stay", "step=course"), ("quarter.counted.stay", "step=window12"),
             ("protocols.training.people", ""), ("quarter.counted.stay", ""),
             ("protocols.compared.stay", "step=window12"), ("quarter.who.people", ""))  # fmt: skip
"""What a reader would miss most: the start of a row's key, and a part of its group."""
A_MEAN, A_COUNT, A_STEP = 0.1, 1.0, 10.0
"""Cost of hiding: the number beside a mean, a count or a share, and each place up in IMPORTANT."""


def importance(row: Result) -> int:
    """How much a reader would miss a row: its place in IMPORTANT, from the end; 0 where it is not in there."""
    found = (k for k, (stem, part) in enumerate(IMPORTANT) if row.key.startswith(stem) and part in row.group)
    return len(IMPORTANT) - next(found, len(IMPORTANT))


OF_NOBODY = ("analyses", "contrasts")
"""What a row may count that is no number of people, tests or rows: it stays though a hidden count is as large."""


class Sheet:
    """The rows of an edition, and which of them print the same count: those are hidden and shown together.

    Rows print the same where a sum of one part says so (a share by its denominator too), or where they stand for the
    same group and count.
    """

    def __init__(self, results: ResultSet, limit: int, before: Before) -> None:
        self.rows = {r.key: r for r in results.rows if r.klass == "aggregate"}
        self.limit = limit
        self.ledger = Ledger(self.rows, results.partitions, limit, before)
        self.of_group: dict[str, list[str]] = {}
        self.means: dict[int, list[str]] = {}
        for key, row in self.rows.items():
            self.of_group.setdefault(row.group, []).append(key)
            if is_mean(row):
                for number in {None if row.n_of in OF_NOBODY else row.n, row.n_people} - {None}:
                    self.means.setdefault(number or 0, []).append(key)
        self._equal = _classes(s for s in self.ledger.sums if len(s.parts) == 1)
        self._bundles: dict[str, tuple[str, ...]] = {}

    def bundle(self, key: str) -> tuple[str, ...]:
        """The row and all that print its count: of its group, or equal by a sum, and of their groups in turn."""
        if key not in self._bundles:
            count, found, edge = counted(self.rows[key]), {key: None}, [key]
            while edge:
                row = self.rows[edge.pop()]
                same = (k for k in self.of_group[row.group] if _prints(self.rows[k], count))
                cells = [c for c, n in ((row.key, counted(row)), (row.key + OF, row.n)) if n == count]
                stems = (c.partition("#")[0] for cell in cells for c in self._equal.get(cell, ()))
                fresh = {k: None for k in (*same, *stems) if k in self.rows and k not in found}
                found |= fresh
                edge += fresh
            self._bundles[key] = tuple(found)
        return self._bundles[key]

    def cost(self, key: str) -> float:
        """What hiding a row costs a reader, with all that goes with it."""
        rows = [self.rows[k] for k in self.bundle(key)]
        plain = [r.hits is not None or r.value is None or r.unit == "people" for r in rows]
        return sum(A_COUNT if p else A_MEAN for p in plain) + A_STEP * max(map(importance, rows))

    def hide(self, hidden: dict[str, str], key: str, mark: str) -> None:
        """Hide a row and all that print its count."""
        hidden |= {k: mark for k in self.bundle(key) if k not in hidden}
        hidden.setdefault(key, mark)

    def beside(self, hidden: Mapping[str, str]) -> dict[str, str]:
        """The means beside which a number stands that is hidden elsewhere: they lose it, whose it is may be known."""
        numbers = {counted(self.rows[k]) or 0 for k in hidden}
        means = (k for number in sorted(numbers) for k in self.means.get(number, []) if k not in hidden)
        return {k: SAME for k in means if not any(self._is_plain(o) for o in self.bundle(k) if o not in hidden)}

    def _is_plain(self, key: str) -> bool:
        """Tell whether a row is a count itself, not a mean or a share with a number beside it."""
        return self.rows[key].hits is None and (self.rows[key].value is None or self.rows[key].unit == "people")


def _prints(row: Result, count: int | None) -> bool:
    return counted(row) == count or (is_share(row) and row.n == count)


def _classes(pairs: Iterable[Partition]) -> dict[str, tuple[str, ...]]:
    """The cells that are equal to one another, by cell."""
    found: dict[str, set[str]] = {}
    for pair in pairs:
        one, other = found.setdefault(pair.total, {pair.total}), found.setdefault(pair.parts[0], {pair.parts[0]})
        if one is not other:
            one |= other
            for key in other:
                found[key] = one
    return {key: tuple(sorted(same)) for key, same in found.items()}


class _Audited:
    """The marks while they are chosen, and what the audit says of them."""

    def __init__(self, sheet: Sheet, hidden: dict[str, str]) -> None:
        self.sheet, self.rows, self.limit, self.hidden = sheet, sheet.rows, sheet.limit, hidden
        self.asked: dict[str, str | None] = {}
        self.printed: set[str] = set()
        self.ledger = sheet.ledger
        self.by_key: dict[str, list[Partition]] = {}
        for total in self.ledger.sums:
            for key in (total.total, *total.parts):
                self.by_key.setdefault(key, []).append(total)
        self.audit = Audit(self.ledger.cells, self.ledger.sums, self.limit)

    def found(self, *, told: bool) -> list[Derivable]:
        """Hidden cells that can be derived; `told`: from the marks too, else from the sums alone."""
        self._ask(self.hidden, told=told)
        return self.audit.derivable()

    def _ask(self, keys: Iterable[str], *, told: bool = False) -> None:
        """Bring the audit up to date with the marks of some rows."""
        for key in keys:
            mark = self.hidden.get(key)
            if mark is not None and not told and mark not in (MERGED, split_mark(self.limit)):
                mark = VAGUE
            if self.asked.get(key) != mark:
                self.asked[key] = mark
                for name, cell in self.ledger.mark(key, mark).items():
                    self.audit.place_cell(name, cell)

    def _around(self, start: str) -> dict[str, int]:
        """Every key that the sums tie to `start`, walking on through cells that nobody sees, with the steps to it."""
        steps, edge = {start: 0}, [start]
        while edge:
            after: list[str] = []
            for here in edge:
                for total in self.by_key.get(here, []):
                    for key in (total.total, *total.parts):
                        if key not in steps:
                            steps[key] = steps[here] + 1
                            after += [key] if self._is_unseen(key) else []
            edge = after
        return steps

    def _is_unseen(self, key: str) -> bool:
        return key in self.ledger.cells and self.ledger.cells[key].count is None

    def hide_beside(self, found: list[Derivable]) -> bool:
        """Hide one more count in the proof of each of the cells found, the cheapest; tell whether there was one.

        For a number beside a mean only other such numbers go: no count is worth it.
        """
        changed, touched = False, set[str]()
        for narrow in found:
            if narrow.key in touched:
                continue
            seen, unseen = self.audit.proof(narrow)
            stems = {k.partition("#")[0] for k in seen} & self.rows.keys() - self.hidden.keys() - self.printed
            if self.hidden.get(narrow.key) == SAME:
                stems = {k for k in stems if self.sheet.cost(k) < A_COUNT}
            if stems:
                touched |= unseen
                best = min(stems, key=self._missed)
                self.sheet.hide(self.hidden, best, PROTECTS)
                changed = True
        return changed

    def _missed(self, key: str) -> tuple[bool, float, int, str]:
        """How much a row would be missed; a 0 protects little and goes last."""
        count = counted(self.rows[key]) or 0
        return not count, self.sheet.cost(key), count, key

    def show_again(self) -> None:
        """Show again what is missed and was hidden without need, the most missed first; all of one count or none."""
        spare = [k for k, mark in self.hidden.items() if mark == PROTECTS and self.sheet.cost(k) > A_STEP]
        for key in sorted(spare, key=lambda k: (-self.sheet.cost(k), k)):
            if self.hidden.get(key) != PROTECTS:
                continue
            same = [k for k in self.sheet.bundle(key) if self.hidden.get(k) == PROTECTS]
            for k in same:
                del self.hidden[k]
            self._ask(same)
            if self.audit.derivable():
                self.hidden |= dict.fromkeys(same, PROTECTS)
                self._ask(same)

    def hide_numbers(self) -> None:
        """Hide the numbers beside means that a reader would take for a hidden one; those that are known stay."""
        known: set[str] = set()
        while fresh := {k: m for k, m in self.sheet.beside(self.hidden).items() if k not in known}:
            self.hidden |= fresh
            while (found := self.found(told=False)) and (self.hide_beside(found) or self.show_known(found, known)):
                pass

    def show_known(self, found: list[Derivable], known: set[str]) -> bool:
        """Show the numbers beside means that are known all the same, and note them; tell whether there were any."""
        keys = sorted(n.key for n in found if self.hidden.get(n.key) == SAME)
        for key in keys:
            del self.hidden[key]
        self._ask(keys)
        known.update(keys)
        return bool(keys)

    def show_exact(self, found: list[Derivable]) -> bool:
        """Show those of the cells found that are known exactly, and are not small: they protect nothing any more, for
        earlier editions printed what gives them away. Tell whether there were any."""
        keys = sorted(n.key for n in found if n.high - n.low < 0.5 and n.key in self.hidden
                      and not self._is_small(n.key))  # fmt: skip
        for key in keys:
            del self.hidden[key]
        self._ask(keys)
        self.printed.update(keys)
        return bool(keys)

    def _is_small(self, key: str) -> bool:
        """Tell whether showing a row would tell a small count, or one of a row for several parts."""
        row = self.rows[key]
        counts = (counted(row) or 0, people_behind(row) or 0)
        rest = (row.n or 0) - (row.hits or 0) if is_share(row) else 0
        return self.hidden[key] == MERGED or any(1 <= n <= self.limit for n in (*counts, rest))

    def say_less(self, found: list[Derivable]) -> bool:
        """Give the cells found, or else all that nobody sees around them, a mark that tells nothing."""
        for keys in ({n.key for n in found}, *(self._around(n.key).keys() for n in found)):
            telling = [k for k in keys if (mark := self.hidden.get(k)) is not None
                       and (mark in (small_mark(self.limit), PROTECTS, CHANGED) or is_near(mark))]
            if telling:
                self.hidden |= dict.fromkeys(sorted(telling), VAGUE)
                return True
        return False


def hide_until_safe(sheet: Sheet, hidden: dict[str, str]) -> dict[str, str]:
    """Hide one more count tied to each cell that the sums give away, until the audit finds none; return the marks.

    Then what was hidden without need is shown again, and marks that tell too much beside the sums are made vague; what
    earlier editions give away exactly cannot be hidden by this one. Where nothing shown is left to hide the cell stays
    found, and the audit of the finished edition refuses it.
    """
    audited = _Audited(sheet, hidden)
    while (found := audited.found(told=False)) and audited.hide_beside(found):
        pass
    audited.show_again()
    audited.hide_numbers()
    while (found := audited.found(told=True)) and (
            audited.say_less(found) or audited.show_known(found, set()) or audited.hide_beside(found)
            or audited.show_exact(found)):
        pass
    return hidden
