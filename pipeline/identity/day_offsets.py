"""Days from a client's own start, and the two date policies: `limited` keeps calendar days, `relative` knows none.

Under `relative` a file holds whole offsets in days (0 = the client's own start). In the store offset 0 is EPOCH for
every client, so a stored day says nothing but the offset; its quarters are blocks of 90 to 92 days from the start.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence

import polars as pl

from pipeline.identity.gate_dates import year_of

KEY = "client_key"
LIMITED, RELATIVE = POLICIES = ("limited", "relative")

#: Where offset 0 lies in the store. The first day of a quarter, so that blocks begin at the client's own start.
EPOCH = dt.date(2000, 1, 1)

_OFFSET = r"^[+-]?[0-9]{1,5}$"
_ISO = r"^[12][0-9]{3}-[0-9]{2}-[0-9]{2}$"

#: What every output says of its days, by policy.
NOTES = {
    LIMITED: "Limited data set, internal: the store holds calendar dates (45 CFR 164.514(e)).",
    RELATIVE: "No calendar dates: days count from each client's start, quarters are blocks of 90 to 92 days from it.",
}


def _earliest(rows: pl.DataFrame, columns: Sequence[str]) -> pl.DataFrame:
    """Return key and the earliest ISO day among the columns, one row a client and column."""
    there = [c for c in columns if c in rows.columns]
    told = [rows.filter(pl.col(c).str.contains(_ISO)).group_by(KEY).agg(pl.col(c).min().alias("day")) for c in there]
    return pl.concat([pl.DataFrame(schema={KEY: pl.String, "day": pl.String}), *told])


def starts(
    tables: Mapping[str, pl.DataFrame], days: Mapping[str, Sequence[str]], known: Mapping[str, str]
) -> dict[str, str]:
    """Return key -> start (ISO) for keys that `known` lacks: the first episode's first day, else the earliest day told.

    tables: keyed rows by table name. days: the day columns of each table.
    """
    anywhere = pl.concat([_earliest(tables[name], days[name]) for name in sorted(tables)])
    first = _earliest(tables["episodes"], ["from_on"]) if "episodes" in tables else anywhere.clear()
    found = dict(anywhere.group_by(KEY).agg(pl.col("day").min()).iter_rows())
    found |= dict(first.group_by(KEY).agg(pl.col("day").min()).iter_rows())
    return {key: day for key, day in sorted(found.items()) if key not in known}


def with_ends(tables: Mapping[str, pl.DataFrame], days: Mapping[str, Sequence[str]]) -> dict[str, pl.DataFrame]:
    """Return the tables with the last day of anything told as `to_on` of the episodes that are open.

    Days told from each client's own start do not say where the record of an open episode ends, so it is written down.
    """
    every = [rows[c].drop_nulls() for n, rows in tables.items() for c in days[n] if c in rows.columns]
    last = max((day for cells in every for day in cells if re.match(_ISO, day)), default=None)
    if "episodes" not in tables or last is None:
        return dict(tables)
    rows = tables["episodes"]
    to_on = pl.col("to_on") if "to_on" in rows.columns else pl.lit(None, pl.String)
    return {**tables, "episodes": rows.with_columns(to_on=to_on.fill_null(last))}


def undated(rows: pl.DataFrame, columns: Sequence[str]) -> dict[str, int]:
    """Count the filled cells of day columns that are no ISO day, by column."""
    cells = {c: rows.select((pl.col(c).str.strip_chars() != "") & ~pl.col(c).str.contains(_ISO)).to_series().sum()
             for c in columns if c in rows.columns}
    return {c: int(n) for c, n in cells.items() if n}


def as_offsets(rows: pl.DataFrame, columns: Sequence[str], from_on: Mapping[str, str]) -> pl.DataFrame:
    """Return the rows with every ISO day of `columns` as whole days from its client's start, as text."""
    start = pl.col(KEY).replace_strict(dict(from_on), default=None, return_dtype=pl.String).str.to_date(strict=False)
    told = [(pl.col(c).str.to_date(strict=False) - start).dt.total_days().cast(pl.String).alias(c)
            for c in columns if c in rows.columns]
    return rows.with_columns(told)


def calendar_days(rows: pl.DataFrame, columns: Sequence[str]) -> dict[str, int]:
    """Count the cells of day columns that are calendar dates in any spelling, by column."""
    found = {}
    for column in (c for c in columns if c in rows.columns):
        counts = rows.select(pl.col(column).str.strip_chars().alias("value")).group_by("value").len()
        n = sum(k for value, k in counts.iter_rows() if value and year_of(value) is not None)
        if n:
            found[column] = n
    return found


def from_offsets(rows: pl.DataFrame, columns: Sequence[str]) -> pl.DataFrame:
    """Return the rows with every whole offset of `columns` as the stored day, ISO; other text stays as it is."""
    def day(column: str) -> pl.Expr:
        text = pl.col(column).str.strip_chars()
        offset = text.str.strip_prefix("+").cast(pl.Int32, strict=False)
        iso = (pl.lit(EPOCH) + pl.duration(days=offset)).cast(pl.Date).cast(pl.String)
        return pl.when(text.str.contains(_OFFSET)).then(iso).otherwise(pl.col(column)).alias(column)
    return rows.with_columns(day(c) for c in columns if c in rows.columns)
