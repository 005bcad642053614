"""Coarser splits for small groups: parts of a split that would nearly all be hidden are put together and shown as one.

A split is a declared sum whose parts differ in one name of their group. Labels that begin with a number (ages, shares)
are bands in the order of their rows: neighbours go together. Of other labels the smallest go into "other or hidden". A
row for several parts holds more than `limit` people; the parts say that they are counted with others.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from pipeline.identity.marks import MERGED
from pipeline.identity.shared_ledger import UNPRINTED, counted
from pipeline.results import Partition, Result, ResultSet

OTHER = "other or hidden"
BAND = re.compile(r"((under|up to|over|below|above|at least) )?[0-9]")
"""How the label of a band begins; "ladder_6" is a name with a number in it."""
UNKNOWN = ("not recorded", "not known", "no session rated", "unknown")


@dataclass(frozen=True)
class Merge:
    """One row for several parts of a split: the row, the keys of the parts, the sum that they belong to."""

    row: Result
    parts: tuple[str, ...]
    total: Partition


def _parts_of(group: str) -> dict[str, str]:
    return {name: value for name, _, value in (p.partition("=") for p in group.split(";"))}


def varying(rows: Sequence[Result]) -> str:
    """The one name in which the groups of these rows differ; "" where there is none."""
    groups = [_parts_of(r.group) for r in rows]
    if len(rows) < 2 or any(g.keys() != groups[0].keys() for g in groups):
        return ""
    names = [n for n in groups[0] if len({g[n] for g in groups}) > 1]
    return names[0] if len(names) == 1 else ""


def _split(total: Partition, rows: Mapping[str, Result]) -> list[Result]:
    """The parts of a sum that are one split of plain counts: those of the statistic that most parts have."""
    parts = [rows[p] for p in total.parts if p in rows]
    if len(parts) < len(total.parts) or any(p.startswith(UNPRINTED) for p in total.parts):
        return []
    kinds = [(r.report, r.section, r.statistic, r.at) for r in parts]
    most = max(kinds, key=kinds.count)
    split = [r for r, kind in zip(parts, kinds, strict=True) if kind == most]
    plain = all(r.hits is None and r.n_of == "people" and r.low is None for r in split)
    return split if plain and varying(split) else []


def _is_band(label: str) -> bool:
    return BAND.match(label) is not None


def bands(counts: Sequence[int], limit: int) -> list[list[int]]:
    """Put neighbours together until each band holds nobody or more than `limit`: places of `counts`, band by band."""
    found: list[list[int]] = []
    open_band: list[int] = []
    for place in range(len(counts)):
        open_band.append(place)
        if sum(counts[k] for k in open_band) > limit:
            found.append(open_band)
            open_band = []
    if open_band and found and sum(counts[k] for k in open_band):
        found[-1].extend(open_band)
    return found


def smallest(counts: Sequence[int], limit: int) -> list[list[int]]:
    """The places of the smallest counts that together hold more than `limit`, all small ones included, in order."""
    order = sorted((c, k) for k, c in enumerate(counts) if c)
    taken: list[int] = []
    for count, place in order:
        if count > limit and sum(counts[k] for k in taken) > limit:
            break
        taken.append(place)
    return [sorted(taken)]


def _named(split: Sequence[Result], places: Sequence[int], label: str) -> Result:
    """The row of several parts: the group of the first with its label replaced, the counts added up."""
    name, mine = varying(split), [split[k] for k in places]
    group = ";".join(f"{n}={label if n == name else v}" for n, v in _parts_of(mine[0].group).items())
    n = sum(counted(r) or 0 for r in mine)
    return replace(mine[0], group=group, n=n, value=None if mine[0].value is None else float(n), text="",
                   note="together: " + ", ".join(_parts_of(r.group)[name] for r in mine))  # fmt: skip


def _merges_of(total: Partition, split: list[Result], limit: int) -> list[Merge]:
    name = varying(split)
    labels = [_parts_of(r.group)[name] for r in split]
    known = [k for k, label in enumerate(labels) if label not in UNKNOWN]
    counts = [counted(split[k]) or 0 for k in known]
    ordered = all(_is_band(labels[k]) for k in known)
    found = (bands if ordered else smallest)(counts, limit)
    groups = [[known[k] for k in places] for places in found]
    if len(groups) < 2 and sum(len(g) for g in groups) >= sum(c > 0 for c in counts):
        return []
    made = []
    for places in groups:
        if len([k for k in places if counted(split[k])]) > 1:
            label = ", ".join(labels[k] for k in places) if ordered else OTHER
            made.append(Merge(_named(split, places, label), tuple(split[k].key for k in places), total))
    return made


def merges(results: ResultSet, hidden: Mapping[str, str], limit: int) -> list[Merge]:
    """Where to put parts together: splits of more than twice the limit that would lose more than half of their parts.

    hidden: key to mark, as chosen without putting anything together.
    """
    rows = {r.key: r for r in results.rows}
    found: list[Merge] = []
    taken: set[str] = set()
    for total in results.partitions:
        split = _split(total, rows)
        there = [r for r in split if counted(r)]
        lost = [r for r in there if r.key in hidden]
        whole = sum(counted(r) or 0 for r in there)
        if whole <= 2 * limit + 1 or 2 * len(lost) <= len(there) or taken & {r.key for r in split}:
            continue
        for merge in _merges_of(total, split, limit):
            if merge.row.key not in rows:
                found.append(merge)
                taken |= set(merge.parts)
    return found


def merged(results: ResultSet, found: Sequence[Merge]) -> ResultSet:
    """The results with the row of each merge before its first part, the parts marked, and the new sums declared."""
    before = {m.parts[0]: m.row for m in found}
    gone = {key for m in found for key in m.parts}
    rows: list[Result] = []
    for row in results.rows:
        if row.key in before:
            rows.append(before[row.key])
        rows.append(replace(row, text=MERGED) if row.key in gone else row)
    sums = [Partition(m.row.key, m.parts) for m in found]
    for total in dict.fromkeys(m.total for m in found):
        mine = [m for m in found if m.total == total]
        inside = {key for m in mine for key in m.parts}
        sums.append(Partition(total.total, (*(m.row.key for m in mine), *(p for p in total.parts if p not in inside))))
    return ResultSet(tuple(rows), (*results.partitions, *sums))
