"""Finds which table a foreign file holds and which heading fills which column, with the reason for each."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass, field

from pipeline.contract import TABLES, Column, Table
from pipeline.ingest.suggest_words import HEADINGS, PRESSURES, bare, day_of, slot_of, unit_in, without_unit, words

#: How alike two words must be (0-1) to be taken for one; our choice, no source.
_ALIKE = 0.86

_UNIT_SUFFIX = re.compile(r"_(cmh2o|cm|kg|s|pct|years)$")
_NUMBERED = re.compile(r"(.*?)[\s_.#-]*([0-9]{1,2})")


#: What a second table of one source must be worth (see _worth; our choice): two required columns of its own or more.
_SECOND = 4.0

#: Words by which a lone value is the best of several efforts, and why it is asked about.
_BEST = {"best", "max", "maximal", "highest"}
ONE_A_DAY = "one value a day"

#: Words that may stand in the heading of a pressure.
_VALUE_WORDS = {"value", "effort", "pressure", "trial", "attempt", *_BEST, "cmh2o", "kpa", "mmhg", "hpa"}


@dataclass(frozen=True)
class Match:
    """A column, the heading that may fill it, and why. `score` 0 to 1."""

    column: str
    heading: str
    why: str
    score: float


@dataclass
class Shape:
    """A table drafted from one source: plain columns, and the parts of wide-to-long (columns, constants, reason)."""

    table: str
    matches: list[Match] = field(default_factory=list)
    repeats: list[tuple[dict[str, str], dict[str, str], str]] = field(default_factory=list)
    ticks: dict[int, list[str]] = field(default_factory=dict)

    def headings(self) -> set[str]:
        repeated = {h for columns, _, _ in self.repeats for h in columns.values()}
        return {m.heading for m in self.matches} | repeated | {h for hs in self.ticks.values() for h in hs}

    def filled(self) -> set[str]:
        return {m.column for m in self.matches} | {c for cs, ks, _ in self.repeats for c in (*cs, *ks)}


def _score(column: Column, heading: str) -> tuple[float, str]:
    said, plain_name = bare(without_unit(heading)), bare(column.name)
    short = bare(_UNIT_SUFFIX.sub("", column.name))
    if bare(heading) == plain_name or said == plain_name:
        return 1.0, "the same name"
    if said == short:
        return 0.95, "the same name but for the unit"
    if said in HEADINGS.get(column.name, ()):
        return 0.8, "a word for it"
    if difflib.SequenceMatcher(None, said, short).ratio() >= _ALIKE:
        return 0.6, "spelled nearly the same"
    return 0.0, ""


def matches(table: Table, headings: list[str]) -> list[Match]:
    """Pair columns and headings, best first; each heading and each column once."""
    found = [Match(c.name, h, why, score) for c in table.columns for h in headings
             for score, why in [_score(c, h)] if score]
    found.sort(key=lambda m: (-m.score, table.column_names.index(m.column), headings.index(m.heading)))
    taken: list[Match] = []
    for match in found:
        if all(match.column != t.column and match.heading != t.heading for t in taken):
            taken.append(match)
    return sorted(taken, key=lambda m: table.column_names.index(m.column))


def _worth(table: Table, found: list[Match]) -> float:
    """Weigh a table: required columns count double, and each that is lacking takes one away."""
    required = set(table.required_names)
    got = sum(m.score * (2 if m.column in required else 1) for m in found)
    return got - len(required - {m.column for m in found})


def _efforts(headings: list[str]) -> list[tuple[dict[str, str], dict[str, str], str]]:
    """Find columns of pressures: `MIP 1`, `MIP 2` ... or `Pressure 1` ...; or a lone `MIP (cmH2O)`."""
    parts = []
    for heading in headings:
        clean = without_unit(heading)
        numbered = _NUMBERED.fullmatch(clean)
        stem, number = (numbered[1], int(numbered[2])) if numbered else (clean, None)
        said = set(words(stem.replace("_", " ")))
        pressure = next((PRESSURES[w] for w in sorted(said) if w in PRESSURES), None)
        if said - set(PRESSURES) - _VALUE_WORDS or not (pressure or (said and number)):
            continue
        constants = {"pressure": pressure} if pressure else {}
        constants["effort_no"] = str(number or 1)
        if unit := unit_in(heading):
            constants["unit"] = unit
        if not number and said & _BEST:
            constants["efforts_recorded"] = "best_only"
        why = f"effort {number} of the day" if number else ONE_A_DAY
        parts.append(({"value": heading}, constants, why))
    return parts if len(parts) > 1 else []


def _sessions(headings: list[str]) -> list[tuple[dict[str, str], dict[str, str], str]]:
    """Find pairs of columns of a morning and a later session."""
    parts: dict[str, dict[str, str]] = {}
    for heading in headings:
        slot = slot_of(heading)
        if slot is None:
            continue
        rest = " ".join(w for w in words(heading) if slot_of(w) is None)
        best = max(TABLES["sessions"].columns, key=lambda c: _score(c, rest)[0] if rest else 0.0)
        column = best.name if rest and _score(best, rest)[0] else "sets_done" if not rest else None
        if column and column not in parts.setdefault(slot, {}):
            parts[slot][column] = heading
    if len(parts) < 2 or not set.intersection(*(set(p) for p in parts.values())):
        return []
    return [(columns, {"slot": slot}, f"headings with a word for {slot}") for slot, columns in sorted(parts.items())]


def shape_of(headings: list[str]) -> Shape | None:
    """Draft one table from the headings of a source; None where nothing fits."""
    days: dict[int, list[str]] = {}
    for heading in headings:
        if (day := day_of(heading)) is not None:
            days.setdefault(day, []).append(heading)
    if len(days) >= 5:
        shape = Shape("weekly_logs", ticks=dict(sorted(days.items())))
    elif efforts := _efforts(headings):
        shape = Shape("tests", repeats=efforts)
    elif sessions := _sessions(headings):
        shape = Shape("sessions", repeats=sessions)
    else:
        scored = [(_worth(t, found), t.name, found) for t in TABLES.values() if (found := matches(t, headings))]
        best = max(scored, key=lambda s: s[0], default=None)
        return Shape(best[1], best[2]) if best and best[0] > 0 else None
    told = shape.filled() | ({"days_trained", "sessions_done"} if shape.ticks else set())
    free = [h for h in headings if h not in shape.headings()]
    shape.matches = [m for m in matches(TABLES[shape.table], free) if m.column not in told]
    return shape


def second_shape(first: Shape, headings: list[str]) -> Shape | None:
    """Draft another table from the headings that the first left over: a sheet of people may tell their course too.

    It needs the person's heading again, and may lack one required column.
    """
    keys = [m for m in first.matches if m.column == "client_key"]
    free = [h for h in headings if h not in first.headings()]
    found = []
    for table in TABLES.values():
        got = [m for m in matches(table, free) if m.column != "client_key"]
        have = {m.column for m in (*keys, *got)}
        lacking = [n for n in table.required_names if n not in have]
        if table.name != first.table and keys and got and "client_key" in table.column_names and len(lacking) <= 1:
            found.append((_worth(table, [*keys, *got]), table.name, [*keys, *got]))
    best = max(found, key=lambda s: s[0], default=None)
    return Shape(best[1], best[2]) if best and best[0] > _SECOND else None
