"""The sample cohort as three invented systems would export it: a wide workbook, semicolon text, JSON Lines.

Each is read back by a map under examples/maps, and gives the same rows. A few planted bad rows are sound in another
form (a decimal comma where commas are declared): these are left out of that form, see `SOUND_HERE`.
"""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import polars as pl

from pipeline.contract import SPELLING, TABLES, Column
from pipeline.ingest.template import WORKBOOK, write_filled
from pipeline.ingest.workbook_out import Sheet, write_workbook
from pipeline.simulate.exports_wide import wide_sheets
from pipeline.simulate.write import put

Tables = dict[str, pl.DataFrame]

_NUMBER = re.compile(SPELLING["number"])
_JSON_NUMBER = re.compile(r"-?(0|[1-9][0-9]*)([.][0-9]+)?")
_ISO = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")

#: 1 cmH2O in kPa, exactly.
_KPA = Fraction("0.0980665")

#: Form -> (table, column, text) of planted bad rows that would be sound in it.
SOUND_HERE: dict[str, tuple[tuple[str, str, str], ...]] = {
    "workbook": (("tests", "value", "9,1"),),
    "text": (("episodes", "from_on", "14/03/2025"), ("events", "event_on", "20.06.2025")),
}

#: Headings of the semicolon text that are not the column's name in capitals.
TEXT_HEADINGS = {
    "client_key": "Kürzel", "height_cm": "Größe (cm)", "weight_kg": "Gewicht (kg)", "session_on": "Übungstag",
    "tested_on": "Prüftag", "from_on": "Beginn", "to_on": "Schluß", "goal_mip_cmh2o": "GOAL MIP (kPa)",
    "goal_mep_cmh2o": "GOAL MEP (kPa)", "inhale_load_cmh2o": "INHALE LOAD (kPa)",
    "exhale_load_cmh2o": "EXHALE LOAD (kPa)",
}
_IN_KPA = ("goal_mip_cmh2o", "goal_mep_cmh2o", "inhale_load_cmh2o", "exhale_load_cmh2o")

#: Codes as the systems spell them.
TEXT_CODES = {"unit": {"cmh2o": "cm H2O", "kpa": "kPa", "mmhg": "mm Hg"},
              "sex": {"female": "weiblich", "male": "männlich"}}
JSON_CODES = {"sex": {"female": "2", "male": "1"}, "pressure": {"mip": "in", "mep": "out"}}


def without_sound(tables: Tables, form: str) -> Tables:
    """Return the tables without the planted bad rows that would be sound in this form."""
    found = dict(tables)
    for table, column, text in SOUND_HERE.get(form, ()):
        found[table] = found[table].filter(pl.col(column).ne_missing(text))
    return found


def _each(frame: pl.DataFrame, name: str, change: Callable[[str], str]) -> pl.DataFrame:
    words = frame[name].drop_nulls().unique().to_list()
    return frame.with_columns(pl.col(name).replace(words, [change(w) for w in words]))


def _dmy(text: str) -> str:
    """Write a real ISO day as 31.12.2026; a planted one that no calendar holds stays as it is."""
    if not _ISO.fullmatch(text):
        return text
    try:
        return dt.date.fromisoformat(text).strftime("%d.%m.%Y")
    except ValueError:
        return text


def _in_kpa(text: str) -> str:
    """Return cmH2O as kPa with every digit."""
    if not _NUMBER.fullmatch(text):
        return text
    return f"{float(Fraction(text) * _KPA):.10f}".rstrip("0").rstrip(".")


def _swapped(text: str) -> str:
    return text.translate(str.maketrans(",.", ".,"))


def _as_text(frame: pl.DataFrame, column: Column) -> pl.DataFrame:
    name = column.name
    if column.kind == "day":
        return _each(frame, name, _dmy)
    if name in _IN_KPA:
        frame = _each(frame, name, _in_kpa)
    if column.kind in ("number", "whole"):
        return _each(frame, name, _swapped)
    codes = TEXT_CODES.get(name, {})
    return _each(frame, name, lambda text: codes.get(text, text))


def write_text_export(tables: Tables, folder: Path) -> None:
    """Write one semicolon file a table in Windows-1252: days as 31.12.2026, decimal commas, loads and goals in kPa."""
    for name, frame in without_sound(tables, "text").items():
        for column in TABLES[name].columns:
            frame = _as_text(frame, column)
        frame = frame.rename({c: TEXT_HEADINGS.get(c, c.upper().replace("_", " ")) for c in frame.columns})
        text = frame.write_csv(separator=";", line_terminator="\r\n")
        put(folder / f"mill-{name}.txt", text.encode("windows-1252"))


def _camel(name: str) -> str:
    first, *rest = name.split("_")
    return first + "".join(w.capitalize() for w in rest)


def _json_cell(text: str | None, column: Column) -> str:
    if text is None:
        return "null"
    text = JSON_CODES.get(column.name, {}).get(text, text)
    is_number = column.kind in ("whole", "number") or text.isdigit()
    return text if is_number and _JSON_NUMBER.fullmatch(text) else json.dumps(text, ensure_ascii=False)


def write_json_export(tables: Tables, folder: Path) -> None:
    """Write one JSON Lines file of every record, named in each; empty cells are left out or null."""
    lines = []
    for name, frame in tables.items():
        columns = TABLES[name].columns
        for number, row in enumerate(frame.select(c.name for c in columns).iter_rows()):
            cells = [f"{json.dumps(_camel(c.name))}: {_json_cell(v, c)}" for c, v in zip(columns, row, strict=True)
                     if v is not None or (number % 2 == 0)]
            lines.append(f'{{"record": "{name}", ' + ", ".join(cells) + "}\n")
    put(folder / "orchard.jsonl", "".join(lines).encode())


def write_workbook_export(tables: Tables, folder: Path) -> None:
    """Write one workbook of wide sheets: efforts and sessions beside each other, a week of ticks, decimal commas."""
    folder.mkdir(parents=True, exist_ok=True)
    sheets = wide_sheets(without_sound(tables, "workbook"))
    write_workbook(folder / "harbour.xlsx", (Sheet(n, rows, typed=True, first_row=first) for n, first, rows in sheets))


def write_filled_template(tables: Tables, folder: Path) -> None:
    """Write the template workbook with the cohort typed into it."""
    folder.mkdir(parents=True, exist_ok=True)
    write_filled(folder / WORKBOOK, tables)
