"""Looks at the cells behind a drafted column: order of days, decimal commas, codes that are spelled otherwise."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import polars as pl

from pipeline.contract import Column
from pipeline.contract.sql import BLANKS
from pipeline.ingest.days import day_of_serial, iso_day
from pipeline.ingest.maps_units import FACTORS
from pipeline.ingest.raw import LINE, plain
from pipeline.ingest.suggest_words import CODES, bare

_COMMA = re.compile(r"[-+]?[0-9]+,[0-9]+")
_BRACKETS = re.compile(r"[(\[]\s*([^)\]]+?)\s*[)\]]")

#: Most spellings of codes that a draft lists: more of them are no code list.
_MOST_CODES = 20


@dataclass
class Days:
    """Lines at which days prove an order; `open` counts those that fit both, `serial` bare numbers."""

    proof: dict[str, list[int]] = field(default_factory=lambda: {"dmy": [], "mdy": []})
    open: int = 0
    serial: int = 0


def _cells(rows: pl.DataFrame, heading: str) -> pl.DataFrame:
    text = pl.col(heading).str.strip_chars(BLANKS)
    return rows.select(LINE, text.alias("text")).filter((pl.col("text") != "").fill_null(False))


def days_in(rows: pl.DataFrame, headings: list[str]) -> Days:
    """Sort the days of all day columns of a source by the order that they prove."""
    found = Days()
    for heading in headings:
        for line, text in _cells(rows, heading).iter_rows():
            dmy, mdy = iso_day(text, "dmy"), iso_day(text, "mdy")
            if dmy and mdy and dmy != mdy:
                found.open += 1
            elif bool(dmy) != bool(mdy):
                found.proof["dmy" if dmy else "mdy"].append(line)
            elif day_of_serial(text):
                found.serial += 1
    return found


def comma_lines(rows: pl.DataFrame, headings: list[str]) -> list[int]:
    """Return the lines of numbers with a comma in the number columns of a source."""
    return sorted({line for h in headings for line, text in _cells(rows, h).iter_rows() if _COMMA.fullmatch(text)})


def codes_in(column: Column, rows: pl.DataFrame, heading: str) -> tuple[dict[str, str], list[str]] | None:
    """Return the spellings that mean a code of the column (spelling -> code), and those that nothing tells.

    None where there are too many to be a code list: then none of them is shown.
    """
    texts = [t for t in _cells(rows, heading)["text"].unique().sort().to_list() if t not in column.codes]
    if len(texts) > _MOST_CODES:
        return None
    known, open_ones = {}, []
    for text in texts:
        said = re.sub(r"\s", "", plain(text).casefold())
        code = next((c for c in column.codes if bare(text) == bare(c) or said in CODES.get(c, ())), None)
        if code:
            known[text] = code
        else:
            open_ones.append(text)
    return known, open_ones


def unit_for(column: Column, heading: str) -> str | None:
    """Return the unit in the brackets of a heading, where it can be converted to the column's and is another."""
    found = _BRACKETS.search(plain(heading))
    known = FACTORS.get(column.unit, {})
    unit = found[1].casefold() if found else ""
    return unit if unit in known and known[unit] != 1 else None
