"""Writes workbooks: plain cells typed as text, number or day, the same bytes from the same cells."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import xlsxwriter  # type: ignore[import-untyped]

#: A number that a workbook holds and gives back as it was written.
_PLAIN_NUMBER = re.compile(r"-?(0|[1-9][0-9]{0,8})(\.[0-9]{0,5}[1-9])?")
_DAY = re.compile(r"[12][0-9]{3}-[0-9]{2}-[0-9]{2}")

#: What a workbook says of its own making: nothing, so that the same cells give the same bytes.
_MADE_ON = dt.datetime(2000, 1, 1)

Cell = str | None

#: The library's own objects, which it does not type.
Format = Any
Worksheet = Any


@dataclass(frozen=True)
class Sheet:
    """A sheet of texts. `typed`: texts that are plain numbers or ISO days become numbers and days of the workbook;
    `text_columns`: numbers of columns (from 0) that stay text even so. `merged`: first row, last row, column, text."""

    name: str
    rows: Sequence[Sequence[Cell]]
    typed: bool = False
    text_columns: frozenset[int] = frozenset()
    first_row: int = 0
    merged: tuple[tuple[int, int, int, str], ...] = ()


class Book:
    """A workbook that is being written; close it (or use it as a context) to have it on the disk."""

    def __init__(self, path: Path) -> None:
        self.book = xlsxwriter.Workbook(str(path), {"strings_to_formulas": False, "strings_to_urls": False})
        self.book.set_properties({"created": _MADE_ON})
        self.day = self.book.add_format({"num_format": "yyyy-mm-dd"})
        self.text = self.book.add_format({"num_format": "@"})

    def __enter__(self) -> Book:
        return self

    def __exit__(self, *_: object) -> None:
        self.book.close()

    def format(self, **how: object) -> Format:
        return self.book.add_format(how)

    def add(self, name: str) -> Worksheet:
        """Add an empty sheet."""
        return self.book.add_worksheet(name)

    def write(self, sheet: Worksheet, row: int, column: int, cell: Cell, *, typed: bool) -> None:
        """Write one cell; rows and columns count from 0."""
        if cell is None or cell == "":
            return
        if typed and _PLAIN_NUMBER.fullmatch(cell):
            sheet.write_number(row, column, float(cell))
        elif typed and (day := _real_day(cell)):
            sheet.write_datetime(row, column, day, self.day)
        else:
            sheet.write_string(row, column, cell)

    def write_sheet(self, said: Sheet) -> None:
        """Write a whole sheet of plain cells."""
        sheet = self.add(said.name)
        for r, row in enumerate(said.rows, start=said.first_row):
            for c, cell in enumerate(row):
                self.write(sheet, r, c, cell, typed=said.typed and c not in said.text_columns)
        for first, last, column, text in said.merged:
            sheet.merge_range(first, column, last, column, text)


def _real_day(text: str) -> dt.date | None:
    """Return the day of an ISO text from 1901 on (before it, workbooks count a day that never was)."""
    if not _DAY.fullmatch(text):
        return None
    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        return None
    return day if day.year > 1900 else None


def write_workbook(path: Path, sheets: Iterable[Sheet]) -> None:
    """Write a workbook of plain sheets."""
    with Book(path) as book:
        for sheet in sheets:
            book.write_sheet(sheet)
