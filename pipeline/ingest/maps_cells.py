"""Writes the cells of a source as the contract spells them: codes, days, numbers and units, as the map declares."""

from __future__ import annotations

from collections.abc import Callable

import polars as pl

from pipeline.contract import TABLES, Column
from pipeline.contract.sql import BLANKS
from pipeline.ingest.days import day_of_serial, iso_day
from pipeline.ingest.maps import Block, Source
from pipeline.ingest.maps_units import converted, unit_of
from pipeline.ingest.raw import plain

#: A comma and a point change places; what was a point is then no number any more, and is set aside.
_SWAP = str.maketrans(",.", ".,")
_COMMA = str.maketrans(",", ".")

Change = Callable[[str], str]


def trimmed(cells: pl.Series, blanks: tuple[str, ...]) -> pl.Series:
    """Return cells without blanks around them; empty ones, and those the map calls blank, as null."""
    cells = cells.str.strip_chars(BLANKS)
    empty = cells == ""
    if blanks:
        words = [w for w in cells.unique().drop_nulls().to_list() if plain(w).casefold() in blanks]
        empty = empty | cells.is_in(words)
    return cells.set(empty.fill_null(False), None)


def _number(source: Source, is_workbook: bool) -> Change:
    """Read a declared decimal comma. A number that a workbook holds as a number arrives with a point: both are taken
    there; in text a point could part thousands and is refused."""
    return lambda text: text.translate(_COMMA if is_workbook and "," in text and "." not in text
                                       else _SWAP if not is_workbook or "," in text else {})


def _day(source: Source, counts_from_1904: bool) -> Change:
    def change(text: str) -> str:
        found = iso_day(text, source.date_order) if source.date_order else None
        if found is None and source.serial_dates:
            found = day_of_serial(text, counts_from_1904=counts_from_1904)
        return found or text
    return change


def _code(words: dict[str, str]) -> Change:
    return lambda text: words.get(plain(text).casefold(), text)


def changes_of(
    column: Column, block: Block, source: Source, *, is_workbook: bool, counts_from_1904: bool
) -> list[Change]:
    """List the changes that a column's cells go through, in order: code list, then day or decimal comma, then unit."""
    found: list[Change] = []
    if column.name in block.codes:
        found.append(_code(dict(block.codes[column.name])))
    if column.kind == "day" and (source.date_order or source.serial_dates):
        found.append(_day(source, counts_from_1904))
    if column.kind in ("number", "whole"):
        if source.decimal_comma:
            found.append(_number(source, is_workbook))
        if column.name in block.units:
            factor = unit_of(TABLES[block.table], column.name, block.units[column.name])
            if not isinstance(factor, str):
                found.append(lambda text: converted(text, factor))
    return found


def changed(cells: pl.Series, changes: list[Change]) -> pl.Series:
    """Apply changes to the different texts of a column, each once; a text that becomes empty is null."""
    if not changes:
        return cells
    words = cells.drop_nulls().unique().to_list()
    after: dict[str, str | None] = {}
    for word in words:
        text = word
        for change in changes:
            text = change(text)
        if text != word:
            after[word] = text or None
    if not after:
        return cells
    return cells.replace(list(after), pl.Series(list(after.values()), dtype=pl.String))
