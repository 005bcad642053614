"""Days written in parts: 03/04/2026 is two days, until somebody declares which part comes first."""

from __future__ import annotations

import datetime as dt
import re

import polars as pl

from pipeline.contract import Table
from pipeline.ingest.raw import LINE, Unreadable, physical

_PARTS = re.compile(r"([0-9]{1,4})[./-]([0-9]{1,2})[./-]([0-9]{1,4})(?:[ T]00:00(?::00)?)?")

#: What a day in parts looks like to a frame, ISO days left out.
_PARTS_PATTERN = r"^\s*[0-9]{1,2}[./-][0-9]{1,2}[./-][0-9]{4}(?:[ T]00:00(?::00)?)?\s*$"

_PLACES = {"ymd": (0, 1, 2), "dmy": (2, 1, 0), "mdy": (2, 0, 1)}

#: Serial numbers of 1990-01-01 and 2100-12-31, the days that the contract takes.
_FIRST_SERIAL, _LAST_SERIAL = 32874, 73415

_SHOWN_LINES = 5


def _day(year: str, month: str, day: str) -> str | None:
    if len(year) != 4 or len(month) > 2 or len(day) > 2:
        return None
    try:
        return dt.date(int(year), int(month), int(day)).isoformat()
    except ValueError:
        return None


def iso_day(text: str, order: str) -> str | None:
    """Return a day written in parts as YYYY-MM-DD, None where they are no day in this order. Years have 4 digits."""
    found = _PARTS.fullmatch(text.strip())
    if found is None:
        return None
    year, month, day = (found[1 + place] for place in _PLACES[order])
    return _day(year, month, day)


def day_of_serial(text: str, *, counts_from_1904: bool = False) -> str | None:
    """Return the day of a workbook's serial number as YYYY-MM-DD; None outside 1990 to 2100 or with a time of day.

    In the 1900 date system 1 is 1900-01-01, and 60 stands for a day that never was (29 February 1900); so from 61 on
    day n lies n days after 1899-12-30. The 1904 system is 1462 days behind. Source: ECMA-376 part 1, 18.17.4.1.
    """
    if not re.fullmatch(r"[0-9]{1,6}(?:\.0+)?", text.strip()):
        return None
    serial = int(float(text)) + (1462 if counts_from_1904 else 0)
    if not _FIRST_SERIAL <= serial <= _LAST_SERIAL:
        return None
    return (dt.date(1899, 12, 30) + dt.timedelta(days=serial)).isoformat()


def _lines(found: pl.DataFrame) -> str:
    shown = found.select(physical(pl.col(LINE))).to_series().unique(maintain_order=True).to_list()
    return ", ".join(map(str, shown[:_SHOWN_LINES])) + (" ..." if len(shown) > _SHOWN_LINES else "")


def _fits(rows: pl.DataFrame, name: str) -> dict[str, pl.DataFrame]:
    """Sort the cells of a column that are days in parts, by the orders they fit: dmy, mdy or both."""
    cells = rows.select(LINE, pl.col(name).alias("text")).filter(pl.col("text").str.contains(_PARTS_PATTERN))
    words = cells["text"].unique().to_list()
    dmy = {w for w in words if iso_day(w, "dmy")}
    mdy = {w for w in words if iso_day(w, "mdy")}
    both = {w for w in dmy & mdy if iso_day(w, "dmy") != iso_day(w, "mdy")}
    kinds = {"both": both, "dmy": dmy - mdy, "mdy": mdy - dmy}
    return {kind: cells.filter(pl.col("text").is_in(sorted(some))) for kind, some in kinds.items()}


def _evidence(fits: dict[str, pl.DataFrame]) -> str:
    said = {"dmy": "can only be day before month", "mdy": "can only be month before day"}
    told = [f"lines {_lines(fits[k])} {word}" for k, word in said.items() if fits[k].height]
    return "; ".join(told) or "no line proves an order"


def undeclared(table: Table, file: str, rows: pl.DataFrame) -> list[Unreadable]:
    """List the day columns in which a cell fits two orders: the whole file is refused, since nothing tells the day.

    rows: text columns and `line_`. A cell that fits one order only is no day of the contract and is set aside alone.
    """
    faults = []
    for column in table.columns:
        if column.kind != "day" or column.name not in rows.columns:
            continue
        fits = _fits(rows, column.name)
        if fits["both"].height:
            faults.append(Unreadable(
                f"{table.name}.{column.name}.date_order", file,
                f"{fits['both'].height} days could be day before month or month before day (lines "
                f"{_lines(fits['both'])}); {_evidence(fits)}",
                "days written YYYY-MM-DD, or a map that declares date_order",
                "write the days as YYYY-MM-DD, or draft a map: rmt-outcomes suggest-map FILE"))
    return faults


def disproved(file: str, name: str, rows: pl.DataFrame, order: str) -> Unreadable | None:
    """Say if some cell of column `name` fits only the order that was not declared: then no order can be trusted."""
    other = {"dmy": "mdy", "mdy": "dmy"}.get(order)
    found = _fits(rows, name).get(other or "", pl.DataFrame())
    if not found.height:
        return None
    return Unreadable(
        "map.date_order", file, f"{found.height} days in the column for '{name}' cannot be {order}, which the map "
        f"declares, and are {other} (lines {_lines(found)})", "one order of days throughout a source",
        "declare the order that the rows prove, or mend these rows at the source")
