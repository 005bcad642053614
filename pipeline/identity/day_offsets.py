"""Days from a client's own start, and the two date policies: `limited` keeps calendar days, `relative` knows none.

Under `relative` a file holds whole offsets in days (0 = the client's own start). In the store offset 0 is EPOCH for
every client, so a stored day says nothing but the offset; its quarters are blocks of 13 weeks (see quarters.py).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

import polars as pl

from pipeline.identity.gate_dates import year_of

KEY = "client_key"
LIMITED, RELATIVE = POLICIES = ("limited", "relative")

#: Where offset 0 lies in the store.
EPOCH = dt.date(2000, 1, 1)

#: The days that say what was done, tested or noted, by table.
DONE = {"sessions": "session_on", "tests": "tested_on", "weekly_logs": "week_from_on", "events": "event_on",
        "other_outcomes": "measured_on"}

_OFFSET = r"^[+-]?[0-9]{1,5}$"
_ISO = r"^[12][0-9]{3}-[0-9]{2}-[0-9]{2}$"

#: What every output says of its days, by policy.
NOTES = {
    LIMITED: "Limited data set, internal: the store holds calendar dates (45 CFR 164.514(e)).",
    RELATIVE: "No calendar dates: days count from each client's own start, quarters are blocks of 13 weeks from it.",
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


def last_day(tables: Mapping[str, pl.DataFrame], gap_days: int) -> str | None:
    """Return the last day (ISO) on which anything was done, tested or noted; None without any.

    As in sql/settled/span.sql, a lone client's days more than `gap_days` after everybody else's are slips of the pen.
    """
    there = [_told(tables[n], c) for n, c in DONE.items() if n in tables and c in tables[n].columns]
    told = pl.concat([pl.DataFrame(schema={KEY: pl.String, "day": pl.Date}), *there]).unique().sort("day", KEY)
    apart = (pl.col("day").diff().dt.total_days() > gap_days).fill_null(False).cum_sum()
    ends = told.group_by(apart.alias("block")).agg(pl.col("day").max(), pl.col(KEY).n_unique().alias("people"))
    several = ends.filter(pl.col("people") > 1)
    last = (several if several.height else ends)["day"].max()
    return last.isoformat() if isinstance(last, dt.date) else None


def _told(rows: pl.DataFrame, column: str) -> pl.DataFrame:
    told = rows.select(KEY, pl.col(column).alias("day")).filter(pl.col("day").str.contains(_ISO))
    return told.with_columns(pl.col("day").str.to_date(strict=False)).drop_nulls()


def until(rows: pl.DataFrame, columns: Sequence[str], end: str) -> tuple[pl.DataFrame, int, int]:
    """Return the rows that lie by `end` (by their first day column), how many lie later, and how many closings did.

    What is only planned has not happened: an episode or a pause whose last day lies after `end` is told as open.
    """
    first = next((c for c in columns if c in rows.columns), None)
    if first is None:
        return rows, 0, 0
    kept = rows.filter((pl.col(first) <= end).fill_null(True))
    if "to_on" not in kept.columns:
        return kept, rows.height - kept.height, 0
    is_ahead = (pl.col("to_on") > end).fill_null(False)
    ahead = int(kept.select(is_ahead.sum()).item())
    return kept.with_columns(to_on=pl.when(~is_ahead).then("to_on")), rows.height - kept.height, ahead


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


def back_to_offsets(rows: pl.DataFrame, columns: Sequence[str]) -> pl.DataFrame:
    """Return the rows with every stored day of `columns` (ISO text or Date) as days from the client's own start."""
    def offset(column: str) -> pl.Expr:
        day = pl.col(column).cast(pl.String).str.to_date(strict=False)
        return (day - pl.lit(EPOCH)).dt.total_days().cast(pl.String).alias(column)
    return rows.with_columns(offset(c) for c in columns if c in rows.columns)
