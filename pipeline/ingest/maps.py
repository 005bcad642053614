"""Intake maps: how the files of one exporting system become input tables. Read from TOML and checked by the contract.

A map is words, not code: which file and sheet, where the headings stand, how days and numbers are written, and for each
table which heading (or constant) fills which column. Nothing is guessed beyond it.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pipeline.errors import RmtError
from pipeline.ingest.raw import plain

DATE_ORDERS = ("ymd", "dmy", "mdy")


class MapError(RmtError):
    """The intake map cannot be applied as it is written."""

    exit_code = 2


@dataclass(frozen=True)
class Part:
    """One row made of a record: column -> heading, and column -> constant."""

    columns: Mapping[str, str] = field(default_factory=dict)
    constants: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Ticks:
    """Columns that count ticks. `counts`: column -> groups of headings; a group counts once, however many of its cells
    are ticked. `blank_is_zero`: where no cell of a column is ticked, it counts 0 and not as not recorded."""

    marks: tuple[str, ...]
    counts: Mapping[str, tuple[tuple[str, ...], ...]]
    blank_is_zero: bool = False


@dataclass(frozen=True)
class Block:
    """One table made of a source. `repeat`: the parts of wide-to-long, one row each; a part is left out where all of
    its own headings are empty. `once`: rows that are alike in the whole table are one row. `where`: heading -> texts;
    only records with one of them belong."""

    table: str
    shared: Part
    repeat: tuple[Part, ...] = ()
    codes: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    where: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    once: bool = False
    ticks: Ticks | None = None

    @property
    def parts(self) -> tuple[Part, ...]:
        return self.repeat or (Part(),)

    def filled_columns(self) -> set[str]:
        """Return the columns of the table that some row of this block can fill."""
        parts = (self.shared, *self.repeat)
        counted = set(self.ticks.counts) if self.ticks else set()
        return {c for p in parts for c in (*p.columns, *p.constants)} | counted

    def headings(self) -> list[str]:
        """Return the headings that this block reads, each once."""
        ticked = [h for groups in (self.ticks.counts.values() if self.ticks else ()) for g in groups for h in g]
        mapped = [h for p in (self.shared, *self.repeat) for h in p.columns.values()]
        return list(dict.fromkeys([*mapped, *self.where, *ticked]))


@dataclass(frozen=True)
class Source:
    """One file, or one sheet of a workbook, how it is written, and the tables it gives."""

    file: str
    blocks: tuple[Block, ...]
    sheet: str | None = None
    sheets: tuple[str, ...] = ()  # several of one layout, read one after the other; else `sheet`
    header_rows: tuple[int, ...] = (1,)
    delimiter: str | None = None
    encoding: str | None = None
    fill_down: tuple[str, ...] = ()
    date_order: str | None = None
    serial_dates: bool = False
    decimal_comma: bool = False
    blanks: tuple[str, ...] = ()
    optional: bool = False  # the folder may lack the file

    def headings(self) -> list[str]:
        """Return every heading that the map names for this source, each once."""
        return list(dict.fromkeys([*(h for b in self.blocks for h in b.headings()), *self.fill_down]))


@dataclass(frozen=True)
class IntakeMap:
    """A whole map, and its text as it lies on the disk (kept with every batch it is used for)."""

    name: str
    sources: tuple[Source, ...]
    text: str = ""


def nearest(word: str, known: Collection[str]) -> str:
    """Say which known word is most like `word`, or nothing."""
    near = difflib.get_close_matches(word, sorted(known), n=1, cutoff=0.5)
    return f"; did you mean '{near[0]}'?" if near else ""


def load_map(path: Path | None) -> IntakeMap | None:
    """Read and check a map; None without a path. MapError names every fault of it."""
    if path is None:
        return None
    try:
        text = path.read_text(encoding="utf-8-sig")
        given = tomllib.loads(text)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as fault:
        # the parser's own words tell the place, and quote nothing but TOML signs
        place = f" ({fault})" if isinstance(fault, tomllib.TOMLDecodeError) else ""
        raise MapError(f"the intake map cannot be read{place}", where=path.name, expected="a TOML file in UTF-8",
                       now="mend it, or draft a new one: rmt-outcomes suggest-map FILE") from fault
    return from_mapping(given, path.name, text)


def from_mapping(given: Mapping[str, Any], where: str, text: str = "") -> IntakeMap:
    """Build a map of parsed TOML. MapError with every fault; also where questions of a draft are still open."""
    from pipeline.ingest import maps_reading
    faults: list[str] = []
    found = maps_reading.read_map(given, text, faults)
    if faults:
        raise MapError("the intake map cannot be applied: " + "; ".join(faults), where=where,
                       expected="the words of 'Bring your own files' in the README", now="mend these places")
    return found


def heading_of(source: Source, given: Collection[str], wanted: str) -> str | None:
    """Return the heading of a file that is meant by `wanted`: in one spelling, and if need be in any case."""
    if (name := plain(wanted)) in given:
        return name
    alike = [h for h in given if h.casefold() == name.casefold()]
    return alike[0] if len(alike) == 1 else None
