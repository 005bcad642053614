"""Reads comma-separated text in UTF-8, record by record, so that every row knows its physical line."""

from __future__ import annotations

import csv
import hashlib
import io
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import polars as pl

from pipeline.errors import FileRefused
from pipeline.ingest.csv_scan import Scan, survey
from pipeline.ingest.raw import LINE, Broken, RawTable, Unreadable, check_headings

#: First bytes of files that are something else under the name of a text file.
_MAGIC = (
    (b"\xff\xfe", "text in UTF-16"), (b"\xfe\xff", "text in UTF-16"), (b"PK\x03\x04", "a workbook or a zip file"),
    (b"\x1f\x8b", "a gzip file"), (b"PAR1", "a Parquet file"), (b"\xd0\xcf\x11\xe0", "an old workbook"),
)


#: From this size on a file is surveyed, and read by the database; below it walking costs less than a second.
SCAN_FROM_BYTES = 8_000_000


class _Lines:
    """The physical lines of a text, handed out one by one; all but the first of a record can be given back."""

    def __init__(self, source: Iterable[str]) -> None:
        self._source = iter(source)
        self._given_back: deque[str] = deque()
        self._taken: list[str] = []
        self.n_before = 0  # lines before the record at hand

    def __iter__(self) -> _Lines:
        return self

    def __next__(self) -> str:
        line = self._given_back.popleft() if self._given_back else next(self._source)
        self._taken.append(line)
        return line

    def keep_first(self) -> None:
        """Give all lines taken since `begin` back but the first."""
        self._given_back.extendleft(reversed(self._taken[1:]))
        del self._taken[1:]

    def begin(self) -> None:
        """Begin a record at the next line."""
        self.n_before += len(self._taken)
        self._taken.clear()


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
        """Return the good rows since the last call as text, empty cells as null, with their lines."""
        self._end_block()
        frame, self.blocks = pl.concat(self.blocks), []
        return frame.with_columns(pl.when(pl.col(pl.String) != "").then(pl.col(pl.String)))

    def _end_block(self) -> None:
        block = pl.DataFrame(self.cells, schema=dict.fromkeys(self.headings, pl.String), orient="row")
        self.blocks.append(block.with_columns(pl.Series(LINE, self.lines, dtype=pl.Int64)))
        self.cells, self.lines = [], []

    def _set_aside(self, line: int, rule: str, expected: str, shape: str) -> None:
        self.broken.append(Broken(line, f"{self.table}.row.{rule}", expected, shape))


def is_readable(record: list[str]) -> bool:
    """Say whether no cell holds a NUL or a byte that was not UTF-8 (read as a lone surrogate)."""
    text = "".join(record)
    return "\0" not in text and (text.isascii() or not any("\ud800" <= c <= "\udfff" for c in text))


def records(text: str | Iterable[str], delimiter: str = ",") -> Iterator[tuple[int, list[str] | None]]:
    """Walk CSV text (RFC 4180): (physical line from 1, cells), or None for cells where the quoting is broken.

    text: the whole of it, or its physical lines with their ends. Blank lines are no records. After broken quoting the
    walk goes on at the very next line, so that a quotation mark which is never closed costs one line and not the rest
    of the file. Lines end in LF, CRLF or CR.
    """
    lines = _Lines(io.StringIO(text, newline="") if isinstance(text, str) else text)
    reader = csv.reader(lines, strict=True, delimiter=delimiter)
    while True:
        lines.begin()
        try:
            record: list[str] | None = next(reader)
        except StopIteration:
            return
        except csv.Error:
            record = None
            lines.keep_first()
        if record != []:
            yield lines.n_before + 1, record


def _refuse_others(file: str, table: str, data: bytes) -> None:
    for start, kind in _MAGIC:
        if data.startswith(start):
            raise Unreadable(f"{table}.file.format", file, f"this is {kind}, not CSV in UTF-8",
                             "comma-separated text in UTF-8", "save it as CSV (UTF-8)")


def _decoded(file: str, table: str, data: bytes) -> tuple[str, bool]:
    """Return the text, and whether every byte of it was readable; Unreadable where the file is something else."""
    _refuse_others(file, table, data)
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


def _walk_file(path: Path, delimiter: str) -> Iterator[tuple[int, list[str] | None]]:
    with path.open("r", encoding="utf-8-sig", errors="surrogateescape", newline="") as file:
        yield from records(file, delimiter)


def read_csv(path: Path, *, scan_from_bytes: int = SCAN_FROM_BYTES) -> RawTable:
    """Read one CSV file as text; Unreadable says why a whole file is refused. Ragged, badly quoted and undecodable
    records are set apart with their line. A file of `scan_from_bytes` or more is only surveyed: see `RawTable.scan`."""
    try:
        if path.stat().st_size >= scan_from_bytes:
            return _surveyed(path)
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


def _surveyed(path: Path) -> RawTable:
    """Read the headings of a large file and survey the rest of it."""
    with path.open("rb") as file:
        _refuse_others(path.name, path.stem, file.read(8))
    headings = _headings(path.name, path.stem, _walk_file(path, ","))
    sha256, scan = survey(path)
    rows = pl.DataFrame(schema=dict.fromkeys(headings, pl.String) | {LINE: pl.Int64})
    return RawTable(path.stem, path.name, sha256, headings, rows, scan=scan)


def refuse_changed(raw: RawTable, scan: Scan) -> None:
    """Raise FileRefused where a surveyed file was written to since its survey."""
    if scan.has_changed():
        raise FileRefused([Unreadable(f"{raw.table}.file.changed", raw.file,
                                      "the file was written to while it was read", "a file at rest",
                                      "wait until it is whole")])


def whole(raw: RawTable) -> RawTable:
    """Return a table with its rows: a large file that was only surveyed is walked; FileRefused where it has changed."""
    if raw.scan is None:
        return raw
    blocks = list(walk_blocks(raw, raw.scan))
    refuse_changed(raw, raw.scan)
    broken = tuple(b for block in blocks for b in block.broken)
    return replace(raw, rows=pl.concat([b.rows for b in blocks]), broken=broken, scan=None)


def walk_blocks(raw: RawTable, scan: Scan) -> Iterator[RawTable]:
    """Walk a surveyed file record by record and give it out in blocks of rows, each with its broken records."""
    walk = _walk_file(scan.path, scan.delimiter)
    next(walk)  # the headings
    rows = Rows(raw.table, raw.headings)
    for line, record in walk:
        rows.add(line, record, False)
        if rows.blocks:
            yield _block(raw, rows)
    yield _block(raw, rows)


def _block(raw: RawTable, rows: Rows) -> RawTable:
    frame, broken, rows.broken = rows.frame(), tuple(rows.broken), []
    return RawTable(raw.table, raw.file, raw.sha256, raw.headings, frame, broken)
