"""Reads Parquet as the same text that a CSV of the same data would hold."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path

import polars as pl

from pipeline.ingest.raw import LINE, RawTable, Unreadable, check_headings

_FLAT = (pl.String, pl.Categorical, pl.Enum, pl.Date, pl.Datetime, pl.Boolean, pl.Decimal, pl.Null)


def _as_text(name: str, kind: pl.DataType) -> pl.Expr:
    """Write a column's values as the contract spells them: days as YYYY-MM-DD, yes and no, NaN as empty."""
    value = pl.col(name)
    if kind == pl.Boolean:
        return pl.when(value).then(pl.lit("yes")).when(~value).then(pl.lit("no")).alias(name)
    if kind == pl.Date:
        return value.dt.strftime("%Y-%m-%d")
    if kind == pl.Datetime:
        day, moment = value.dt.strftime("%Y-%m-%d"), value.dt.strftime("%Y-%m-%dT%H:%M:%S")
        return pl.when(value.dt.time() == pl.time(0)).then(day).otherwise(moment).alias(name)
    text = (value.fill_nan(None) if kind.is_float() else value).cast(pl.String)
    return pl.when(text != "").then(text).alias(name)


def read_parquet(path: Path) -> RawTable:
    """Read one Parquet file as text; a row's line is its number plus 1, as if headings stood in line 1."""
    table = path.stem
    try:
        data = path.read_bytes()
        frame = pl.read_parquet(io.BytesIO(data))
    except (OSError, pl.exceptions.PolarsError) as fault:
        raise Unreadable(f"{table}.file.unreadable", path.name, "the file cannot be read as Parquet", "a Parquet file",
                         "export it again") from fault
    if not frame.columns:
        raise Unreadable(f"{table}.file.empty", path.name, "the file is empty", "headings and rows",
                         "export it again, or take it out of the folder")
    nested = [str(k) for k, t in enumerate(frame.dtypes, start=1) if not (t.is_numeric() or isinstance(t, _FLAT))]
    if nested:
        raise Unreadable(f"{table}.file.nested", path.name,
                         "columns " + ", ".join(nested) + " hold more than one value a cell",
                         "one plain value a cell", "export these columns as text, numbers or days")
    headings = check_headings(path.name, table, frame.columns)
    text = frame.select(_as_text(n, t) for n, t in frame.schema.items())
    text.columns = list(headings)
    lines = pl.int_range(2, pl.len() + 2, dtype=pl.Int64).alias(LINE)
    return RawTable(table, path.name, hashlib.sha256(data).hexdigest(), headings, text.with_columns(lines))
