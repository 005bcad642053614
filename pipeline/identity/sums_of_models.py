"""Sums that hold among the people of models, above all where no row of the flow ties a part to everybody.

A reader knows them all the same. The protocols make the whole, with those that are in no row; who is in one model and
not in the other, or in the cohort and in no model, is a number of people too.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from pipeline.identity.shared_ledger import UNPRINTED, people_behind
from pipeline.results import Partition, Result, ResultSet, parts_of

EVERYBODY = ("", "")
FITTED, FRAME = "protocols.fitted.people", "common.can_answer.people_in_frame"
GAIN, PROTOCOL_GAIN = "quarter.gains.gain_cmh2o", "protocols.difference.protocol_gain_cmh2o"
WHOLE = {GAIN: GAIN, PROTOCOL_GAIN: FITTED}
"""What is told of parts, and where their whole is told."""
NESTED = (("common.data.people", FRAME), (FRAME, FITTED), (GAIN, PROTOCOL_GAIN),
          (GAIN, "common.can_answer.people_past_12_weeks"))  # fmt: skip
"""Counts of which the second's people are among the first's."""
OF_BOTH = (FRAME, FITTED, GAIN, PROTOCOL_GAIN)
"""Counts of the people of one pressure beside those of the other: some have one baseline and not the other."""


@dataclass(frozen=True)
class _Count:
    """How many people a row tells: of which statistic and pressure, and of which part ("protocol", its name)."""

    key: str
    stem: str
    pressure: str
    part: tuple[str, str]
    n: int


def _part_of(row: Result, told: dict[str, str]) -> tuple[str, str]:
    if "protocol" in told:
        return "protocol", told["protocol"]
    known = told.keys() <= {"pressure", "protocols", "form", "effort"}
    return EVERYBODY if known else ("group", row.group)


def _counts(rows: Iterable[Result]) -> Iterator[_Count]:
    for row in rows:
        n = people_behind(row)
        if n is not None and row.hits is None and row.klass == "aggregate":
            told = parts_of(row.group)
            stem = f"{row.report}.{row.section}.{row.statistic}"
            yield _Count(row.key, stem, told.get("pressure", ""), _part_of(row, told), n)


def _splits(counts: Sequence[_Count]) -> Iterator[Partition]:
    """The parts of each split, and the whole; where they do not make it, the rest is a part that is printed nowhere."""
    whole = {(c.stem, c.pressure): c for c in reversed(counts) if c.part == EVERYBODY}
    parts: dict[tuple[str, str, str], dict[str, _Count]] = defaultdict(dict)
    for c in counts:
        if c.stem in WHOLE and c.part[0] not in ("", "group"):
            parts[c.stem, c.pressure, c.part[0]].setdefault(c.part[1], c)
    for (stem, pressure, name), found in parts.items():
        total = whole.get((WHOLE[stem], pressure))
        rest = -1 if total is None else total.n - sum(c.n for c in found.values())
        if total is not None and rest >= 0:
            beside = (f"{UNPRINTED}{total.key} by {name}, {stem}",) if rest else ()
            yield Partition(total.key, (*(c.key for c in found.values()), *beside))


def _nested(counts: Sequence[_Count], limit: int) -> Iterator[Partition]:
    """Pairs of counts that differ by 1 to the limit, one within the other or the same of the other pressure."""
    by_stem: dict[str, list[_Count]] = defaultdict(list)
    for c in {(c.stem, c.pressure, c.part, c.n): c for c in reversed(counts)}.values():
        by_stem[c.stem].append(c)
    pairs = [(a, b) for outer, inner in NESTED for a in by_stem[outer] for b in by_stem[inner]
             if a.pressure in ("", b.pressure)]  # fmt: skip
    pairs += [(a, b) for stem in OF_BOTH for a, b in combinations(by_stem[stem], 2) if a.pressure != b.pressure]
    for a, b in pairs:
        more, less = (a, b) if a.n >= b.n else (b, a)
        if a.part == b.part and 1 <= more.n - less.n <= limit:
            yield Partition(more.key, (less.key, f"{UNPRINTED}{more.key} less {less.key}"))


def with_sums(results: ResultSet, limit: int, *, only_sums: bool = True, after_rows: bool = False) -> ResultSet:
    """The results with the sums that a reader knows to hold among the people of models and their parts.

    only_sums: they come from sums alone, and nothing else declares any; results from rows have the flow, to which the
    parts of the gain are tied. after_rows: an edition from rows of the same quarter is on record. Its own sums hold,
    and what it printed stays printed: only the protocols are told apart anew.
    """
    counts = list(_counts(results.rows))
    found = list(_splits(counts if only_sums else [c for c in counts if c.stem in (FITTED, PROTOCOL_GAIN)]))
    if only_sums and not after_rows:
        found += _nested(counts, limit)
    added = dict.fromkeys(found)
    return replace(results, partitions=(*results.partitions, *(s for s in added if s not in results.partitions)))
