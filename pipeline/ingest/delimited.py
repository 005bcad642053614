"""Reads text whose cells stand between commas, semicolons or tabs, in the encodings and packings of `text_bytes`."""

from __future__ import annotations

import csv
import hashlib
from dataclasses import dataclass
from pathlib import Path

from pipeline.contract import TABLES
from pipeline.ingest.csv_file import Rows, is_readable, read_csv, records
from pipeline.ingest.raw import RawTable, Unreadable, check_headings, plain
from pipeline.ingest.text_bytes import UTF_16_MARKS, decoded, file_bytes, unpacked

DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}

#: Bytes of a plain file that are looked at to find its delimiter.
_HEAD_BYTES = 1 << 16


@dataclass(frozen=True)
class Dialect:
    """How a text file is written. `delimiter`: None asks delimiter_of; `encoding`: see text_bytes.decoded."""

    delimiter: str | None = None
    encoding: str | None = None


def _cells(text: str, delimiter: str) -> list[str]:
    try:
        return next(csv.reader(text.lstrip("\r\n").splitlines(keepends=True), delimiter=delimiter, strict=True), [])
    except csv.Error:
        return []


def delimiter_of(text: str, known: frozenset[str] = frozenset()) -> str:
    """Tell the delimiter from the first line: the one that gives most `known` headings, then most cells; else comma."""
    head = text[:_HEAD_BYTES]
    found = {mark: _cells(head, mark) for mark in DELIMITERS.values()}
    return max(found, key=lambda mark: (sum(plain(c) in known for c in found[mark]), len(found[mark])))


def read_delimited(path: Path, table: str, dialect: Dialect, header_row: int = 1) -> RawTable:
    """Read a delimited text file as text; `header_row` is the physical line of the headings, lines above are skipped.

    Unreadable says why a whole file is refused. Ragged, badly quoted and undecodable records are set apart.
    """
    data = file_bytes(path, table)
    text, is_whole_text = decoded(unpacked(data, path.name, table), path.name, table, dialect.encoding)
    walk = records(text, dialect.delimiter or delimiter_of(text, _known(table)))
    line, first = next(((n, r) for n, r in walk if n >= header_row), (0, None))
    if line == 0:
        raise Unreadable(f"{table}.file.empty", path.name, "the file is empty", "headings and rows",
                         "export it again, or take it out of the folder")
    if first is None or not is_readable(first):
        raise Unreadable(f"{table}.file.no_headings", f"{path.name}:{line}", "the headings cannot be read",
                         "headings in the declared encoding, properly quoted", "export it again as UTF-8")
    headings = check_headings(path.name, table, first)
    if len(headings) == 1 and any(mark in headings[0] for mark in DELIMITERS.values()):
        raise Unreadable(f"{table}.file.delimiter", f"{path.name}:{line}", "the cells are not separated as said",
                         "the delimiter of the file", "declare it in the map, or save the file with commas")
    rows = Rows(table, headings)
    for at, record in walk:
        rows.add(at, record, is_whole_text)
    return RawTable(table, path.name, hashlib.sha256(data).hexdigest(), headings, rows.frame(), tuple(rows.broken))


def _known(table: str) -> frozenset[str]:
    return frozenset(TABLES[table].column_names) if table in TABLES else frozenset()


def _is_plain(path: Path, table: str) -> bool:
    """Say whether a file is comma-separated text in UTF-8 as far as its head tells."""
    if path.suffix != ".csv":
        return False
    head = file_bytes(path, table, _HEAD_BYTES)
    text, _ = decoded(head[: head.rfind(b"\n") + 1] or head, path.name, table)
    return not head.startswith(UTF_16_MARKS) and delimiter_of(text, _known(table)) == ","


def read_text(path: Path) -> RawTable:
    """Read a canonical text file, whatever its delimiter; UTF-16 and packed files too. Plain CSV goes the fast way."""
    table = path.name.split(".")[0]
    return read_csv(path) if _is_plain(path, table) else read_delimited(path, table, Dialect())
