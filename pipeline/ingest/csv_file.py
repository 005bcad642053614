"""Reads comma-separated text in UTF-8, record by record, so that every row knows its physical line."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from pipeline.ingest.raw import LINE, Broken, RawTable, Unreadable, check_headings

#: First bytes of files that are something else under the name of a text file.
_MAGIC = (
    (b"\xff\xfe", "text in UTF-16"), (b"\xfe\xff", "text in UTF-16"), (b"PK\x03\x04", "a workbook or a zip file"),
    (b"\x1f\x8b", "a gzip file"), (b"PAR1", "a Parquet file"), (b"\xd0\xcf\x11\xe0", "an old workbook"),
)


@dataclass
class _Lines:
    """The physical lines of a text, handed out one by one; `next_line` (from 0) can be set back."""

    lines: list[str]
    next_line: int = 0

    def __iter__(self) -> _Lines:
        return self

    def __next__(self) -> str:
        if self.next_line >= len(self.lines):
            raise StopIteration
        self.next_line += 1
        return self.lines[self.next_line - 1]


#: Rows gathered before they become a frame: a million small lists cost more in memory and time than their text.
_BLOCK_ROWS = 50_000


@dataclass
class Rows:
    """Rows sorted as they are read: good ones in blocks, broken ones with their reason."""

    table: str
    headings: tuple[str, ...]
    lines: list[int] = field(default_factory=list)
    cells: list[list[str]] = field(default_factory=list)
    blocks: list[pl.DataFrame] = field(default_factory=list)
    broken: list[Broken] = field(default_factory=list)

    def add(self, line: int, record: list[str] | None, is_whole_text: bool) -> None:
        if record is None:
            self._set_aside(line, "quoting", "quotation marks that open and close around a whole cell", "a stray mark")
        elif not is_whole_text and not is_readable(record):
            self._set_aside(line, "undecodable", "text in UTF-8", "bytes that are not UTF-8")
        elif len(record) != len(self.headings):
            self._set_aside(line, "ragged", f"{len(self.headings)} cells, as many as headings", f"{len(record)} cells")
        else:
            self.lines.append(line)
            self.cells.append(record)
            if len(self.cells) >= _BLOCK_ROWS:
                self._end_block()

    def frame(self) -> pl.DataFrame:
        """Return the good rows as text, empty cells as null, with their lines."""
        self._end_block()
        return pl.concat(self.blocks).with_columns(pl.when(pl.col(pl.String) != "").then(pl.col(pl.String)))

    def _end_block(self) -> None:
        block = pl.DataFrame(self.cells, schema=dict.fromkeys(self.headings, pl.String), orient="row")
        self.blocks.append(block.with_columns(pl.Series(LINE, self.lines, dtype=pl.Int64)))
        self.cells, self.lines = [], []

    def _set_aside(self, line: int, rule: str, expected: str, shape: str) -> None:
        self.broken.append(Broken(line, f"{self.table}.row.{rule}", expected, shape))


def is_readable(record: list[str]) -> bool:
    """Say whether no cell holds a NUL or a byte that was not UTF-8 (read as a lone surrogate)."""
    text = "".join(record)
    return "\0" not in text and not any("\ud800" <= c <= "\udfff" for c in text)


def records(text: str, delimiter: str = ",") -> Iterator[tuple[int, list[str] | None]]:
    """Walk CSV text (RFC 4180): (physical line from 1, cells), or None for cells where the quoting is broken.

    Blank lines are no records. After broken quoting the walk goes on at the very next line, so that a quotation mark
    which is never closed costs one line and not the rest of the file. Lines end in LF, CRLF or CR.
    """
    lines = _Lines(list(io.StringIO(text, newline="")))
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
    while True:
        first = lines.next_line
        try:
            record: list[str] | None = next(reader)
        except StopIteration:
            return
        except csv.Error:
            record, lines.next_line = None, first + 1
        if record != []:
            yield first + 1, record


def _decoded(file: str, table: str, data: bytes) -> tuple[str, bool]:
    """Return the text, and whether every byte of it was readable; Unreadable where the file is something else."""
    for start, kind in _MAGIC:
        if data.startswith(start):
            raise Unreadable(f"{table}.file.format", file, f"this is {kind}, not CSV in UTF-8",
                             "comma-separated text in UTF-8", "save it as CSV (UTF-8)")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("utf-8-sig", errors="surrogateescape"), False
    return text, "\0" not in text


def _headings(file: str, table: str, walk: Iterator[tuple[int, list[str] | None]]) -> tuple[str, ...]:
    line, first = next(walk, (0, []))
    if line == 0:
        raise Unreadable(f"{table}.file.empty", file, "the file is empty", "headings and rows",
                         "export it again, or take it out of the folder")
    if first is None or not is_readable(first):
        raise Unreadable(f"{table}.file.no_headings", f"{file}:1", "the headings cannot be read",
                         "headings in UTF-8, properly quoted", "export it again as CSV (UTF-8)")
    if len(first) == 1 and any(mark in first[0] for mark in ";\t|"):
        raise Unreadable(f"{table}.file.delimiter", f"{file}:1", "the cells are not separated by commas",
                         "comma-separated text", "save it with commas between the cells")
    return check_headings(file, table, first)


def read_csv(path: Path) -> RawTable:
    """Read one CSV file as text; Unreadable says why a whole file is refused. Ragged, badly quoted and undecodable
    records are set apart with their line."""
    try:
        data = path.read_bytes()
    except OSError as fault:
        raise Unreadable(f"{path.stem}.file.unreadable", path.name, "the file cannot be opened",
                         "a file that may be read", "check the file's permissions") from fault
    text, is_whole_text = _decoded(path.name, path.stem, data)
    walk = records(text)
    headings = _headings(path.name, path.stem, walk)
    rows = Rows(path.stem, headings)
    for line, record in walk:
        rows.add(line, record, is_whole_text)
    sha256 = hashlib.sha256(data).hexdigest()
    return RawTable(path.stem, path.name, sha256, headings, rows.frame(), tuple(rows.broken))
