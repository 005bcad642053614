"""Shapes the sample cohort into the sheets of one wide workbook, as a clinic that types by hand would lay it out."""

from __future__ import annotations

import datetime as dt
import re

import polars as pl

from pipeline.contract import SPELLING, TABLES

_NUMBER = re.compile(SPELLING["number"])
_ISO = re.compile(r"[12][0-9]{3}-[0-9]{2}-[0-9]{2}")

#: A sheet: its name, its first row (from 0), its rows.
Rows = list[list[str | None]]
SheetRows = tuple[str, int, Rows]

EFFORTS = ("1", "2", "3")
SLOTS = ("am", "pm")
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")

#: Tables that stand as they are, and their sheets.
_SHEETS = {"clients": "People", "episodes": "Courses", "prescriptions": "Doses", "pauses": "Breaks",
           "events": "Incidents", "other_outcomes": "Measures", "instruments": "Gauges"}
_SHAPED = ("tests", "sessions", "weekly_logs")
PLAIN = {name: _SHEETS.get(name, name.capitalize()) for name in TABLES if name not in _SHAPED}


def heading(name: str) -> str:
    """Return a column's heading in the workbook: its words, the first with a capital."""
    return {"client_key": "Person"}.get(name, name.replace("_", " ").capitalize())


def _comma(name: str, table: str, text: str | None) -> str | None:
    """Write a well-formed number of a `number` column with a comma."""
    is_number = name in TABLES[table].column_names and TABLES[table].column(name).kind == "number"
    return text.replace(".", ",") if text and is_number and _NUMBER.fullmatch(text) else text


def _serial(text: str | None) -> str | None:
    """Write an ISO day as the number that a workbook keeps for it."""
    if not text or not _ISO.fullmatch(text):
        return text
    try:
        return str((dt.date.fromisoformat(text) - dt.date(1899, 12, 30)).days)
    except ValueError:
        return text


def _plain_sheet(table: str, frame: pl.DataFrame) -> SheetRows:
    """Write a table as it is: a title in the first row, headings in the third; days of courses as serial numbers."""
    names = TABLES[table].column_names
    rows: Rows = [[f"{PLAIN[table]} of our service"], [None], [heading(n) for n in names]]
    days = {c.name for c in TABLES[table].columns if c.kind == "day"} if table == "episodes" else set()
    for cells in frame.select(names).iter_rows():
        rows.append([_serial(c) if n in days else _comma(n, table, c) for n, c in zip(names, cells, strict=True)])
    return PLAIN[table], 0, rows


def _wide(table: str, frame: pl.DataFrame, by: str, places: tuple[str, ...], own: list[str]) -> tuple[list[str], Rows]:
    """Put rows that differ only in `by` and `own` beside each other: one row a group, a set of columns a place.

    A row that finds no place (another value of `by`, one taken already, or nothing to write) stands alone at the end
    of the sheet's columns, with its `by`.
    """
    shared = [n for n in TABLES[table].column_names if n != by and n not in own]
    groups: dict[tuple[str | None, ...], dict[str, list[str | None]]] = {}
    alone: list[tuple[tuple[str | None, ...], list[str | None]]] = []
    for row in frame.select([*shared, by, *own]).iter_rows():
        key, place = row[: len(shared)], row[len(shared)]
        cells = [_comma(n, table, c) for n, c in zip(own, row[len(shared) + 1:], strict=True)]
        if place in places and any(cells) and place not in groups.setdefault(key, {}):
            groups[key][place] = cells
        else:
            alone.append((key, [_comma(by, table, place), *cells]))
    blank: list[str | None] = [None] * len(own)
    rows: Rows = [[*key, *(c for p in places for c in found.get(p, blank)), None, *blank]
                  for key, found in groups.items() if found]
    rows += [[*key, *blank * len(places), *cells] for key, cells in alone]
    names = [heading(n) for n in shared]
    names += [f"{heading(n)} {p}" for p in places for n in own]
    return [*names, f"Other {by.replace('_', ' ')}", *(f"Other {heading(n).lower()}" for n in own)], rows


def _told_once(rows: Rows) -> Rows:
    """Empty the first cell where it repeats the one above, as a merged cell reads."""
    above: str | None = None
    told: Rows = []
    for first, *rest in rows:
        told.append([None if first == above and first is not None else first, *rest])
        above = first
    return told


def _pressures(frame: pl.DataFrame) -> SheetRows:
    """Three efforts a row, the person told once; the headings in two rows, from the second row of the sheet on."""
    names, rows = _wide("tests", frame, "effort_no", EFFORTS, ["value"])
    top: list[str | None] = [None] * len(names)
    below: list[str | None] = list(names)
    for k, effort in enumerate(EFFORTS):
        place = names.index(f"Value {effort}")
        below[place] = effort
        if k == 0:
            top[place] = "Value"
    after = names.index("Other effort no")
    top[after], below[after], below[after + 1] = "Other", "effort no", "value"
    return "Pressures", 1, [top, below, *_told_once(sorted(rows, key=lambda r: r[0] or ""))]


def _sessions(frame: pl.DataFrame) -> SheetRows:
    """Morning and later session of a day in one row."""
    own = [n for n in TABLES["sessions"].column_names if n not in ("client_key", "session_on", "slot")]
    names, rows = _wide("sessions", frame, "slot", SLOTS, own)
    return "Sessions", 0, [list(names), *rows]


def _ticks(days: str | None, sessions: str | None) -> list[str | None] | None:
    """Return 14 ticks, morning and later of seven days, that say so many days and sessions; None where none do."""
    if days is None or sessions is None or not (days.isdigit() and sessions.isdigit()):
        return None
    d, s = int(days), int(sessions)
    if not (0 < d <= 7 and d <= s <= 2 * d):
        return None
    return [tick for k in range(7) for tick in ("x" if k < d else None, "x" if k < s - d else None)]


def _weeks(frame: pl.DataFrame) -> SheetRows:
    """A diary week a row, ticked where ticks can say it, else in numbers."""
    names = TABLES["weekly_logs"].column_names
    days, sessions = names.index("days_trained"), names.index("sessions_done")
    marks = [f"{day} {slot}" for day in DAYS for slot in SLOTS]
    rows: Rows = [[*(heading(n) for n in names), "Form", *marks]]
    for row in frame.select(names).iter_rows():
        cells = [_comma(n, "weekly_logs", c) for n, c in zip(names, row, strict=True)]
        ticks = _ticks(row[days], row[sessions])
        if ticks:
            cells[days] = cells[sessions] = None
        rows.append([*cells, "ticks" if ticks else "numbers", *(ticks or [None] * len(marks))])
    return "Weeks", 0, rows


def wide_sheets(tables: dict[str, pl.DataFrame]) -> list[SheetRows]:
    """Return every sheet of the workbook."""
    sheets = [_plain_sheet(name, tables[name]) for name in PLAIN]
    return [*sheets, _pressures(tables["tests"]), _sessions(tables["sessions"]), _weeks(tables["weekly_logs"])]
