"""What a reader hands on: the text of a file's rows with their lines, and the records that were not rows at all."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from pipeline.errors import RmtError
from pipeline.ingest.csv_scan import Scan

#: The column of a raw table that holds the physical line on which a record begins (the headings are line 1).
LINE = "line_"

#: Where an intake map makes several rows of one physical line, `line_` of the second is the line + 1 * PART, of the
#: third + 2 * PART: still different in every row of a file. `physical` gives the line to show and to store.
PART = 1_000_000_000

#: Where a table stands on several sheets, `line_` of the rows of the second sheet is greater by SHEET, of the third by
#: 2 * SHEET (see RawTable.sheets).
SHEET = 1_000_000 * PART


def physical(line: pl.Expr) -> pl.Expr:
    """Return the physical line of `line_` values."""
    return line % PART


def plain(heading: str) -> str:
    """Return a heading in one spelling: Unicode form C, blanks around it off, any blanks within one space."""
    return re.sub(r"\s+", " ", unicodedata.normalize("NFC", heading)).strip()


class Unreadable(RmtError):
    """A whole file that cannot be read as a table. `rule` names the reason."""

    exit_code = 3

    def __init__(self, rule: str, file: str, what: str, expected: str, now: str) -> None:
        self.rule = rule
        super().__init__(f"refused by {rule}: {what}", where=file, expected=expected, now=now)


@dataclass(frozen=True)
class Broken:
    """A record that has no cells to judge. `shape` says what was seen, and never a character of it."""

    line: int
    rule: str
    expected: str
    shape: str


@dataclass(frozen=True)
class RawTable:
    """One file: `rows` has every heading as text (null where the cell is empty) and `line_`; `broken` the rest.

    A large file has a `scan` instead, and no rows here: the database reads it.
    """

    table: str
    file: str
    sha256: str
    headings: tuple[str, ...]
    rows: pl.DataFrame
    broken: tuple[Broken, ...] = ()
    scan: Scan | None = None
    places: Mapping[str, int] | None = None  # where a map brought the columns from: column -> number in the source
    sheets: tuple[str, ...] = ()  # where a map takes several sheets for one table: what to call the file of each row

    def file_at(self, line: pl.Expr) -> pl.Expr:
        """Return the name of the file (and sheet) in which the rows with these `line_` stand."""
        if not self.sheets:
            return pl.lit(self.file)
        return (line // SHEET).replace_strict(dict(enumerate(self.sheets)), return_dtype=pl.String)

    def place_of(self, column: str) -> int | None:
        """Return the number (from 1) of a column in the file, None where the file has none of its own for it."""
        if self.places is not None:
            return self.places.get(column)
        return self.headings.index(column) + 1 if column in self.headings else None

    @property
    def n_read(self) -> int:
        """Count the records of the file, broken ones included, headings not (of a scan: as its lines tell)."""
        return self.scan.n_records if self.scan else self.rows.height + len(self.broken)


@dataclass(frozen=True)
class Intake:
    """A folder as read: its tables, the contract's tables it lacks, the names of other files, faults of whole files.

    map_text: the text of the intake map that was applied, empty without one.
    """

    files: tuple[RawTable, ...]
    absent: tuple[str, ...]
    other_files: tuple[str, ...]
    faults: tuple[RmtError, ...] = ()
    map_text: str = ""


def check_headings(file: str, table: str, headings: list[str]) -> tuple[str, ...]:
    """Return the headings in one spelling (see `plain`); Unreadable if one is there twice or none is filled.

    A heading left empty is called `unnamed_7` after its place.
    """
    clean = [plain(h) or f"unnamed_{k}" for k, h in enumerate(headings, start=1)]
    places = [k for k, h in enumerate(clean, start=1) if h in clean[: k - 1] or h == LINE]
    if places:
        raise Unreadable(
            f"{table}.heading.twice", f"{file}:1:{places[0]}", "the heading of column " + " and ".join(map(str, places))
            + " stood before (or is a name kept for line numbers)",
            "every heading once", "rename or remove it")
    if all(not plain(h) for h in headings):
        raise Unreadable(f"{table}.file.no_headings", f"{file}:1", "the first line holds no headings",
                         "the column names in the first line", "add the headings")
    return tuple(clean)
