"""Reads sheets of a workbook (.xlsx, .xlsm) as text through polars with calamine; a row's line is its row of the sheet.

A day typed as a day arrives as YYYY-MM-DD, a logical value as `true` or `false`, a cell that shows an error empty, and
a merged cell only in its first row and column (a map's `fill_down` repeats it).
"""

from __future__ import annotations

import hashlib
import io
import re
import zipfile
from pathlib import Path

import polars as pl

from pipeline.ingest.raw import LINE, RawTable, Unreadable, check_headings, plain
from pipeline.ingest.text_bytes import MOST_BYTES, file_bytes

SUFFIXES = (".xlsx", ".xlsm")

#: A day without a time, as calamine writes it.
_MIDNIGHT = r"^([0-9]{4}-[0-9]{2}-[0-9]{2}) 00:00:00$"

_FAULTS = (OSError, ValueError, KeyError, zipfile.BadZipFile, pl.exceptions.PolarsError)


def _damaged(name: str, table: str) -> Unreadable:
    return Unreadable(f"{table}.file.unreadable", name, "the file cannot be read as a workbook",
                      "a workbook (.xlsx) without a password", "open it, save it as .xlsx, and run this again")


class Workbook:
    """A workbook in memory: its sheets' names, and any sheet as text. Unreadable where it is none."""

    def __init__(self, path: Path, table: str) -> None:
        import fastexcel
        self.name, self.table = path.name, table
        self.data = file_bytes(path, table)
        self.sha256 = hashlib.sha256(self.data).hexdigest()
        try:
            with zipfile.ZipFile(io.BytesIO(self.data)) as parts:
                if sum(p.file_size for p in parts.infolist()) > MOST_BYTES:
                    raise ValueError("too large")
                book = parts.read("xl/workbook.xml")
            self.sheets: tuple[str, ...] = tuple(fastexcel.read_excel(self.data).sheet_names)
        except (*_FAULTS, fastexcel.FastExcelError) as fault:
            raise _damaged(path.name, table) from fault
        #: Whether days are counted from 1904-01-01 (an old habit of one maker's machines) and not from 1900.
        self.counts_from_1904 = re.search(rb'date1904="(1|true)"', book) is not None

    def cells(self, sheet: str) -> pl.DataFrame:
        """Return a sheet's used cells as text from its first row on, blank rows included, and `line_`."""
        import fastexcel
        try:
            frame = pl.read_excel(
                io.BytesIO(self.data), sheet_name=sheet, engine="calamine", has_header=False, infer_schema_length=0,
                drop_empty_rows=False, drop_empty_cols=False, raise_if_empty=False, read_options={"skip_rows": 0})
        except (*_FAULTS, fastexcel.FastExcelError) as fault:
            raise _damaged(self.name, self.table) from fault
        text = [_clean(frame[name]) for name in frame.columns]
        lines = pl.int_range(1, pl.len() + 1, dtype=pl.Int64).alias(LINE)
        return pl.DataFrame(text).with_columns(lines) if text else pl.DataFrame(schema={LINE: pl.Int64})


def _clean(cells: pl.Series) -> pl.Series:
    """Return cells with the time of whole days cut off and blank ones null."""
    cells = cells.cast(pl.String)
    if cells.str.ends_with(" 00:00:00").any():
        cells = cells.str.replace(_MIDNIGHT, "$1")
    return cells.set(cells == "", None) if (cells == "").any() else cells


def headings_of(rows: list[tuple[str | None, ...]]) -> list[str]:
    """Join the headings that stand in several rows: all but the last reach right over empty cells (merged ones)."""
    whole = []
    for k, row in enumerate(rows):
        filled, last = [], ""
        for cell in row:
            last = plain(cell or "") or (last if k < len(rows) - 1 else "")
            filled.append(last)
        whole.append(filled)
    return [" ".join(p for p in parts if p) for parts in zip(*whole, strict=True)]


def read_sheet(book: Workbook, sheet: str, table: str, header_rows: tuple[int, ...] = (1,)) -> RawTable:
    """Read one sheet as text below its headings; rows without any filled cell are no records.

    header_rows: the rows of the headings, from 1. Columns without a heading and without a cell are left out.
    """
    label = f"{book.name}#{sheet}"
    cells = book.cells(sheet)
    names = [n for n in cells.columns if n != LINE]
    head = cells.filter(pl.col(LINE).is_in(header_rows)).select(names).rows()
    if len(head) != len(header_rows) or not names:
        raise Unreadable(f"{table}.file.empty", label, "the sheet has no row of headings", "headings and rows",
                         "check the sheet, or the header_row of the map")
    joined = headings_of(head)
    body = cells.filter(pl.col(LINE) > header_rows[-1])
    used = [k for k, n in enumerate(names) if joined[k] or body[n].null_count() < body.height]
    headings = check_headings(label, table, [joined[k] for k in used]) if used else ()
    if not headings:
        raise Unreadable(f"{table}.file.no_headings", f"{label}:{header_rows[-1]}", "this row holds no headings",
                         "the column names in the row of headings", "check the sheet, or the header_row of the map")
    body = body.select(*[pl.col(names[k]).alias(h) for k, h in zip(used, headings, strict=True)], LINE)
    blank = pl.all_horizontal(pl.col(headings).is_null() | (pl.col(headings).str.strip_chars() == ""))
    return RawTable(table, label, book.sha256, headings, body.filter(~blank))
