"""Opens a foreign file for a draft: every sheet of a workbook, the likely row of headings, delimiter and encoding."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from pathlib import Path

import polars as pl

from pipeline.ingest import excel
from pipeline.ingest.delimited import DELIMITERS, Dialect, delimiter_of, read_delimited
from pipeline.ingest.formats import JSON_LINES, TEXT, suffix_of
from pipeline.ingest.json_lines import read_json_lines
from pipeline.ingest.parquet_file import read_parquet
from pipeline.ingest.raw import LINE, RawTable, Unreadable
from pipeline.ingest.text_bytes import decoded, file_bytes, unpacked

#: Rows in which headings are looked for.
_TOP_ROWS = 15
_NUMBER = re.compile(r"[-+]?[0-9]+([.,][0-9]+)?")


@dataclass
class Seen:
    """A source as it stands: its records, the lines of the map that say how to read it, and questions about that.

    at, sheets: of a workbook, the rows of the headings and the sheets that share them.
    """

    raw: RawTable
    how: list[str] = field(default_factory=list)
    questions: list[str] = field(default_factory=list)
    at: list[int] = field(default_factory=list)
    sheets: list[str] = field(default_factory=list)


def _filled(row: tuple[str | None, ...]) -> list[str]:
    return [c for c in row if c and c.strip()]


def header_rows(rows: list[tuple[str | None, ...]]) -> list[int]:
    """Return the likely rows of headings (from 1): the first, among those with most cells, that is not mostly numbers;
    with the row above it where it says one heading twice, or a bare number."""
    top = rows[:_TOP_ROWS]
    most = max((len(_filled(r)) for r in top), default=0)
    for k, row in enumerate(top, start=1):
        cells = [c.strip() for c in _filled(row)]
        numbers = sum(_NUMBER.fullmatch(c) is not None for c in cells)
        if len(cells) >= 2 and len(cells) >= 0.6 * most and numbers <= 0.5 * len(cells):
            is_half = numbers or len(set(cells)) < len(cells)
            return [k - 1, k] if is_half and k > 1 and _filled(top[k - 2]) else [k]
    return [1]


def _sheets(path: Path) -> list[Seen]:
    book, seen = excel.Workbook(path, "draft"), []
    for sheet in book.sheets:
        cells = book.cells(sheet)
        rows = cells.drop(LINE).rows()
        if not any(_filled(r) for r in rows):
            continue
        at = header_rows(rows)
        try:
            raw = excel.read_sheet(book, sheet, "draft", tuple(at))
        except Unreadable as fault:
            raw = RawTable("draft", f"{path.name}#{sheet}", book.sha256, (), pl.DataFrame({LINE: []}))
            seen.append(Seen(raw, [f"# left out: {fault.what}"]))
            continue
        seen.append(Seen(raw, at=at, sheets=[sheet]))
    return _of_one_layout(seen)


def _of_one_layout(seen: list[Seen]) -> list[Seen]:
    """Put sheets with the same headings in the same rows together, and say how each source is read."""
    first_of: dict[tuple[object, ...], Seen] = {}
    kept = []
    for one in seen:
        first = first_of.setdefault((one.raw.headings, *one.at), one) if one.sheets else one
        if first is one:
            kept.append(one)
            continue
        first.sheets += one.sheets
        label = f"{first.raw.file}, {one.raw.file.partition('#')[2]}"
        first.raw = replace(first.raw, file=label, rows=pl.concat([first.raw.rows, one.raw.rows]))
    for one in (s for s in kept if s.sheets):
        named = [quoted(s) for s in one.sheets]
        rows = one.at if len(one.at) > 1 else one.at[0]
        one.how = ["sheet = " + (named[0] if len(named) == 1 else f"[{', '.join(named)}]   # the same headings"),
                   f"header_row = {rows}   # the first full row of words"]
        if len(named) > 1:
            one.questions.append(f"{one.raw.file}: are these sheets one table, one below the other?")
        if one.at != [1]:
            one.questions.append(f"{one.raw.file}: do the headings stand in row {' and '.join(map(str, one.at))}?")
    return kept


def _text(path: Path) -> Seen:
    data = unpacked(file_bytes(path, "draft"), path.name, "draft")
    text, whole = decoded(data, path.name, "draft")
    encoding, how, questions = None, [], []
    if not whole and "\0" not in text:
        encoding = "windows-1252"
        text, _ = decoded(data, path.name, "draft", encoding)
        how.append('encoding = "windows-1252"   # it is no UTF-8')
        questions.append(f"{path.name}: it is no UTF-8; is it Windows-1252 (look at letters with accents)?")
    mark = delimiter_of(text)
    name = next(n for n, m in DELIMITERS.items() if m == mark)
    how.append(f'delimiter = "{name}"   # gives most headings')
    return Seen(read_delimited(path, "draft", Dialect(mark, encoding)), how, questions)


def seen_in(path: Path) -> list[Seen]:
    """Open every source of a file. Unreadable where no reader can."""
    suffix = suffix_of(path)
    if suffix in excel.SUFFIXES:
        return _sheets(path)
    if suffix in TEXT:
        return [_text(path)]
    if suffix in JSON_LINES:
        return [Seen(read_json_lines(path, "draft"))]
    if suffix == ".parquet":
        return [Seen(read_parquet(path))]
    raise Unreadable("draft.file.format", path.name, "no reader knows this format",
                     "text, JSON Lines, Parquet or .xlsx", "save it in one of these formats")


def quoted(text: str) -> str:
    """Write a TOML string."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", " ") + '"'
