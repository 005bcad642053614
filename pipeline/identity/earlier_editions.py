"""Two shared editions are one table: what an earlier edition printed, and how the counts of this one follow from it.

A count that gathers people from quarter to quarter (courses so far, people with a 12-week test) gives by subtraction
how many came since: 1 to `limit` of them are a small cell, though no page prints it. A count of one quarter is
printed again as "last quarter" by the next edition: there the published row is repeated, so that a late row tells
nothing. `ties` writes both down for the audit; `repeated` does the second.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from pipeline.identity.audit import Cell
from pipeline.identity.quarters import number_of
from pipeline.identity.shared_ledger import NOTHING_BEFORE, UNPRINTED, Before, is_share, true_counts
from pipeline.results import Partition, Result, ResultSet

LAST, THIS = "period=last", "period=this"
RESTATED, PRINTED = "restated", "quarter.restated.printed[of="
N = "#n"
GROWING = (".stay", "common.data.people", ".people_in_frame", ".people_with_3_tests", ".people_with_4_tests",
           "training.people", "ledger.people", "service.referral", "service.caution")
"""Counts that nobody leaves again: a later one is at least an earlier one, as a reader knows too."""

WHOLE_QUARTERS = 2
"""Quarters, of each kind of edition, whose hidden counts the audit keeps hidden beside those of a new edition."""


@dataclass(frozen=True)
class Edition:
    """A shared edition as it was written: its quarter, its rows, and its ledger (true counts, cells and sums).

    only_sums: its results were computed from sums alone, so that most kinds of rows are not in it.
    """

    edition_no: int
    quarter: str
    batch_id: int
    rows: ResultSet
    counts: Mapping[str, int]
    cells: Mapping[str, Cell]
    sums: tuple[Partition, ...]
    only_sums: bool = False

    def cell(self, key: str) -> str:
        """The name of a cell of this edition among those of others."""
        return f"{self.quarter}.{self.edition_no}|{key}"


def is_before(quarter: str, other: str) -> bool:
    """Tell whether `quarter` is the one right before `other`."""
    return number_of(quarter) + 1 == number_of(other)


def repeated(results: ResultSet, earlier: Sequence[Edition], quarter: str) -> ResultSet:
    """The results with the rows of "last quarter" as that quarter's edition printed them, where there is one.

    The same holds for the points of the charts over quarters. A row that the edition does not have is left out: it can
    only come from late rows. So is a figure restated where its review, made again after late rows, counted others than
    the edition that stands: there it was not printed.
    """
    aggregates = [r for r in results.rows if r.klass == "aggregate"]
    last = next((e for e in reversed(earlier) if is_before(e.quarter, quarter) and not e.only_sums), None)
    old = _as_last(last) if last else {}
    points = next((p for e in reversed(earlier) if e.quarter < quarter and (p := _points(e, aggregates))), {})
    rows: list[Result] = []
    told: set[tuple[str, str, str]] = set()
    unprinted = _not_as_printed(aggregates, last) if last else set()
    for row in aggregates:
        if row.section == RESTATED and row.group.partition(";cause=")[0] in unprinted:
            continue
        if LAST not in row.group.split(";") or last is None:
            rows.append(points.get(row.key, row))
        elif _kind(row) not in told:
            told.add(_kind(row))
            rows += old.get(_kind(row), [])
    kept = {r.key for r in rows}
    sums = tuple(s for s in results.partitions
                 if {s.total, *(p.partition("#")[0] for p in s.parts if not p.startswith(UNPRINTED))} <= kept)
    return ResultSet(tuple(rows), sums)


def _not_as_printed(rows: Iterable[Result], edition: Edition) -> set[str]:
    """The groups of restated figures whose count of people is not that of the edition on record."""
    printed = {r.key: r for r in rows if r.key.startswith(PRINTED)}
    counts = true_counts(printed, (), NOTHING_BEFORE)
    return {r.group for k, r in printed.items() if k in counts
            and edition.counts.get(_of_printed(k), counts[k]) != counts[k]}  # fmt: skip


def _of_printed(key: str) -> str:
    """The key of the row that a restated figure was printed as."""
    return key.removeprefix(PRINTED)[:-1].replace(",", ";")


def _kind(row: Result) -> tuple[str, str, str]:
    return row.report, row.section, row.statistic


def _as_last(edition: Edition) -> dict[tuple[str, str, str], list[Result]]:
    """The rows about its own quarter, named as the next edition names them, by kind."""
    found: dict[tuple[str, str, str], list[Result]] = {}
    for row in edition.rows.rows:
        pieces = row.group.split(";")
        if THIS in pieces:
            group = ";".join(LAST if p == THIS else p for p in pieces)
            found.setdefault(_kind(row), []).append(replace(row, group=group))
    return found


def _points(edition: Edition, rows: Iterable[Result]) -> dict[str, Result]:
    """The points of the charts over quarters that the edition printed, by key; none where the quarters do not align."""
    is_point = {r.key: r for r in rows if r.section == "over_time" and r.statistic.startswith("median_")}
    old = {r.key: r for r in edition.rows.rows if r.key in is_point}
    aligned = all(r.text == is_point[k].text for k, r in old.items() if r.value is not None)
    return old if aligned else {}


def _twins(key: str, edition: Edition, quarter: str, is_lasting: bool) -> Iterable[str]:
    """The keys under which an earlier edition counts what `key` counts, or part of it."""
    if edition.quarter == quarter or is_lasting:
        yield key
    if THIS in key and is_before(quarter, edition.quarter):
        yield key.replace(THIS, LAST)
    if key.startswith(PRINTED) and is_before(edition.quarter, quarter):
        yield _of_printed(key)


def ties(
    results: ResultSet, earlier: Sequence[Edition], quarter: str, limit: int,
    is_lasting: Callable[[Result], bool],
) -> Before:  # fmt: skip
    """What earlier editions let a reader subtract from this one.

    results: as given by `repeated`. earlier: in the order of writing; the last ones of each kind are taken with all
    their sums (`_taken_whole`), of the others the counts that they showed. is_lasting: tells a row that gathers people
    from quarter to quarter.
    """
    rows = {r.key: r for r in results.rows if LAST not in r.group.split(";")}
    counts = true_counts(rows, (), NOTHING_BEFORE)
    stems = {k: rows[k.partition("#")[0]] for k in counts}
    lasting = {k: is_lasting(r) for k, r in rows.items()}
    made = _Ties(limit)
    whole = _taken_whole(earlier, quarter)
    for edition in reversed(earlier):
        if edition.edition_no in whole:
            made.take_whole(edition)
        for key, now in counts.items():
            stem = key.partition("#")[0]
            for old in _twins(key, edition, quarter, lasting[stem]):
                made.tie(key, now, edition, old, is_same=_is_same(key, edition, quarter),
                         is_share=is_share(stems[key]))  # fmt: skip
        for key, n in other_counts(rows.values()).items():
            if 1 <= abs(n - edition.counts.get(key, n)) <= limit and lasting[key.removesuffix(N)]:
                made.moved.setdefault(key.removesuffix(N), None)
    return Before(made.cells, made.counts, tuple(made.sums), made.moved)


def _taken_whole(earlier: Sequence[Edition], quarter: str) -> set[int]:
    """The numbers of the editions whose hidden counts are kept hidden too: the last one written, and of each kind, from
    rows and from sums, all of the WHOLE_QUARTERS quarters nearest to `quarter`."""
    found = {e.edition_no for e in earlier[-1:]}
    for only_sums in (False, True):
        kind = [e for e in earlier if e.only_sums == only_sums]
        nearest = sorted({e.quarter for e in kind}, key=lambda q: (abs(number_of(q) - number_of(quarter)), q))
        found |= {e.edition_no for e in kind if e.quarter in nearest[:WHOLE_QUARTERS]}
    return found


def _is_same(key: str, edition: Edition, quarter: str) -> bool:
    return edition.quarter == quarter or key.startswith(PRINTED)


@dataclass
class _Ties:
    """`Before` while it is made."""

    limit: int
    cells: dict[str, Cell] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)
    sums: list[Partition] = field(default_factory=list)
    moved: dict[str, int | None] = field(default_factory=dict)

    def take_whole(self, edition: Edition) -> None:
        """Add every cell and sum of an edition."""
        self.cells |= {edition.cell(k): c for k, c in edition.cells.items()}
        self.counts |= {edition.cell(k): n for k, n in edition.counts.items()}
        self.sums += [Partition(edition.cell(s.total), tuple(edition.cell(p) for p in s.parts))
                      for s in edition.sums]

    def tie(self, key: str, now: int, edition: Edition, old: str, *, is_same: bool, is_share: bool) -> None:
        """Declare that `key` is the old count and those who came since (or the other way round)."""
        name, then = edition.cell(old), edition.counts.get(old)
        cell = self.cells.get(name, edition.cells.get(old))
        if cell is None or then is None or cell.is_free or (cell.count is None and name not in self.cells):
            return
        if is_same and now == then:
            self._add(name, cell, then, Partition(key, (name,)))
            return
        grows = now >= then and not is_share and key.split("[")[0].endswith(GROWING)
        if cell.count is None and not grows:
            return
        since = f"{UNPRINTED}{key} since {edition.cell('')}"
        self._add(name, cell, then, Partition(key, (name, since)) if now >= then else Partition(name, (key, since)))
        few = 1 <= abs(now - then) <= self.limit
        self.cells[since] = Cell(None, is_small=few, is_free=not few, known=(0.0 if grows else -math.inf, math.inf))
        if few and cell.count is not None:
            self.moved.setdefault(key.partition("#")[0], None if is_share else cell.count)

    def _add(self, name: str, cell: Cell, count: int, total: Partition) -> None:
        self.cells[name], self.counts[name] = cell, count
        self.sums.append(total)


def other_counts(rows: Iterable[Result]) -> dict[str, int]:
    """The counts of tests, weeks, sessions and rows by people, by key + N."""
    return {r.key + N: r.n for r in rows if r.n is not None and r.n_of != "people" and r.n_people is not None}


def moves(results: ResultSet, edition: Edition) -> dict[str, int]:
    """How far each count has moved since an edition of the same quarter, where it has.

    A count that is gone or new has moved by all of it; kinds of rows that the edition did not have do not count.
    """
    return _moves(results, edition, {_kind(r) for r in edition.rows.rows})


def moves_of_both(results: ResultSet, edition: Edition) -> dict[str, int]:
    """The same where one of the two comes from sums alone: kinds of rows that one of them lacks do not count."""
    kinds = {_kind(r) for r in edition.rows.rows} & {_kind(r) for r in results.rows}
    stems = {".".join(kind) for kind in kinds}
    return {k: d for k, d in _moves(results, edition, kinds).items() if k.partition("[")[0] in stems}


def _moves(results: ResultSet, edition: Edition, kinds: set[tuple[str, str, str]]) -> dict[str, int]:
    together = {r.key for r in edition.rows.rows if r.note.startswith("together: ")}
    rows = {r.key: r for r in results.rows if r.klass == "aggregate" and _kind(r) in kinds}
    now = true_counts(rows, (), NOTHING_BEFORE) | other_counts(rows.values())
    then = {k: n for k, n in edition.counts.items() if not k.startswith(UNPRINTED) and k not in together}
    return {k: d for k in sorted(now.keys() | then.keys()) if (d := now.get(k, 0) - then.get(k, 0))}
