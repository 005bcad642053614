"""The workbook to fill in by hand, made from the contract: a sheet a table, drop-downs, a data dictionary."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.contract import TABLES, Column, Table
from pipeline.errors import RmtError
from pipeline.ingest.diary import diary_week
from pipeline.ingest.workbook_out import Book, Format, Worksheet

WORKBOOK, DIARY = "rmt_outcomes_template.xlsx", "diary_week.html"
DICTIONARY, CODES = "data dictionary", "codes"

#: Rows of each sheet that have drop-downs and limits.
PREPARED_ROWS = 5000

#: Longest list that a workbook takes written out, and longest message: limits of the file format.
_MOST_LIST, _MOST_MESSAGE, _MOST_TITLE = 255, 255, 32

_LEAD = (
    "One sheet a table; one row as the second column here says. Headings stay as they are. Columns in dark need a cell "
    "in every row; any other cell may stay empty, which means: not recorded. Sheets without rows are passed over.",
    "client_key is a random surrogate. No name, birth date, record number, address or other identifier belongs in this "
    "workbook: a file that holds one is refused.",
)


class WontOverwrite(RmtError):
    """A file of this name is there, and may hold somebody's work."""

    exit_code = 2


def write_template(folder: Path) -> list[Path]:
    """Write the empty workbook and the printable diary week into `folder`; WontOverwrite where one is there."""
    paths = [folder / WORKBOOK, folder / DIARY]
    if there := [p.name for p in paths if p.exists()]:
        raise WontOverwrite(f"{' and '.join(there)} is there already and was not touched", where=folder.name,
                            expected="a folder without them", now="name another folder, or move them away")
    folder.mkdir(parents=True, exist_ok=True)
    write_filled(paths[0], {})
    paths[1].write_text(diary_week(), encoding="utf-8", newline="\n")
    return paths


def write_filled(path: Path, rows: Mapping[str, pl.DataFrame]) -> None:
    """Write the workbook with rows in it: text frames by table, as a person would have typed them."""
    with Book(path) as book:
        lists = _Lists()
        for table in TABLES.values():
            _table_sheet(book, table, lists, rows.get(table.name))
        _dictionary(book)
        lists.write(book)


class _Lists:
    """Code lists too long to be written out: they stand in a hidden sheet, a column each."""

    def __init__(self) -> None:
        self.columns: list[tuple[str, ...]] = []

    def source(self, codes: tuple[str, ...]) -> list[str] | str:
        """Return what a drop-down takes: the codes, or the place where they stand."""
        if len(",".join(codes)) <= _MOST_LIST:
            return list(codes)
        if codes not in self.columns:
            self.columns.append(codes)
        letter = chr(ord("A") + self.columns.index(codes))
        return f"={CODES}!${letter}$1:${letter}${len(codes)}"

    def write(self, book: Book) -> None:
        sheet = book.add(CODES)
        for k, codes in enumerate(self.columns):
            sheet.write_column(0, k, codes)
        sheet.hide()


def _limits(column: Column, lists: _Lists) -> dict[str, Any] | None:
    """Return the check that the workbook makes of a cell, None where it makes none."""
    if column.codes:
        return {"validate": "list", "source": lists.source(column.codes)}
    if column.kind == "day":
        low, high = (dt.date.fromisoformat(str(b)) for b in (column.low, column.high))
        return {"validate": "date", "criteria": "between", "minimum": low, "maximum": high}
    if column.kind in ("whole", "number"):
        kind = "integer" if column.kind == "whole" else "decimal"
        return {"validate": kind, "criteria": "between", "minimum": column.low, "maximum": column.high}
    return None


def _table_sheet(book: Book, table: Table, lists: _Lists, rows: pl.DataFrame | None) -> None:
    sheet = book.add(table.name)
    needed = book.format(bold=True, bg_color="#1F3B57", font_color="#FFFFFF")
    other = book.format(bold=True, bg_color="#DCE6F0")
    for k, column in enumerate(table.columns):
        _column(book, sheet, k, column, lists, other if column.empty_ok else needed)
    sheet.freeze_panes(1, 1)
    for r, row in enumerate(rows.select(table.column_names).iter_rows() if rows is not None else (), start=1):
        for k, (cell, column) in enumerate(zip(row, table.columns, strict=True)):
            book.write(sheet, r, k, cell, typed=column.kind in ("day", "whole", "number"))


def _column(book: Book, sheet: Worksheet, k: int, column: Column, lists: _Lists, heading: Format) -> None:
    sheet.write_string(0, k, column.name, heading)
    is_text = column.kind in ("key", "label", "code")
    sheet.set_column(k, k, max(11, len(column.name) + 2), book.text if is_text else
                     book.day if column.kind == "day" else None)
    limits = _limits(column, lists)
    if limits:
        meaning = column.meaning + (f" ({column.unit})" if column.unit else "")
        expected = f"Expected {column.expected}"[:_MOST_MESSAGE]
        sheet.data_validation(1, k, PREPARED_ROWS, k, limits | {
            "input_title": column.name[:_MOST_TITLE], "input_message": meaning[:_MOST_MESSAGE],
            "error_title": "Not in the data dictionary", "error_message": expected})


def _dictionary(book: Book) -> None:
    sheet, bold, wrap = book.add(DICTIONARY), book.format(bold=True), book.format(text_wrap=True, valign="top")
    for r, text in enumerate(_LEAD):
        sheet.merge_range(r, 0, r, 6, text, wrap)
        sheet.set_row(r, 32)
    top = len(_LEAD) + 1
    sheet.write_row(top, 0, ("table", "one row is", "column", "meaning", "unit", "expected", "may be empty"), bold)
    lines = [(t.name, t.grain, c.name, c.meaning, c.unit, c.expected, "yes" if c.empty_ok else "no")
             for t in TABLES.values() for c in t.columns]
    lines += [(t.name, t.grain, "(whole row)", rule.expected, "", "", "") for t in TABLES.values() for rule in t.rules]
    for r, line in enumerate(lines, start=top + 1):
        sheet.write_row(r, 0, line, wrap)
    for k, width in enumerate((16, 26, 22, 44, 10, 60, 12)):
        sheet.set_column(k, k, width)
    sheet.freeze_panes(top + 1, 0)
