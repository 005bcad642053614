"""Makes the set-aside records: one a fault, with file, line, column, rule, what was expected, and the value's shape."""

from __future__ import annotations

from functools import reduce
from operator import or_

import polars as pl

from pipeline.contract import Table
from pipeline.contract.faults import Fault, faults
from pipeline.identity import masked
from pipeline.ingest import RawTable
from pipeline.ingest.raw import SHEET, physical
from pipeline.validate.verdict import SET_ASIDE_SCHEMA


def _day(table: Table) -> pl.Expr:
    """Return the day a row speaks of, null where it is not well formed or out of the contract's range."""
    column = next((c for c in table.columns if c.kind == "day" and c.required), None)
    if column is None:
        return pl.lit(None, pl.Date)
    low, high = (pl.lit(bound).str.to_date() for bound in (column.low, column.high))
    return pl.when(pl.col(column.name).is_between(low, high)).then(pl.col(column.name))


def _about(table: Table, rows: pl.DataFrame) -> pl.DataFrame:
    """Return `line` and what is known of each row: its site, client and day where these were well formed."""
    names = table.column_names
    return rows.select(
        pl.col("line_").alias("line"),
        (pl.col("site") if "site" in names else pl.lit(None, pl.String)).alias("site"),
        (pl.col("client_key") if "client_key" in names else pl.lit(None, pl.String)).alias("client_key_ok"),
        _day(table).alias("occurred_on"),
    )


def _of_fault(raw: RawTable, fault: Fault, bit: int, bad: pl.DataFrame) -> pl.DataFrame:
    """Return the records of one fault. `bad`: the faulty rows' text beside their `fault_bits`."""
    has = bad.filter((pl.col("fault_bits") & (1 << bit)) != 0)
    is_there = fault.column in raw.headings
    return has.select(
        pl.col("line_").alias("line"),
        pl.lit(raw.place_of(fault.column), pl.Int64).alias("column_no"),
        pl.lit(fault.column).alias("column_name"), pl.lit(fault.rule).alias("rule"),
        pl.lit(fault.expected).alias("expected"),
        (masked(pl.col(fault.column)) if is_there else pl.lit("(empty)")).alias("masked_value"),
    )


def _of_row(lines: pl.Series, rules: pl.Series, expected: pl.Series, shapes: pl.Series) -> pl.DataFrame:
    frame = pl.DataFrame({"line": lines, "rule": rules, "expected": expected, "masked_value": shapes})
    return frame.select("line", pl.lit(None, pl.Int64).alias("column_no"), pl.lit("").alias("column_name"), "rule",
                        "expected", "masked_value")


def _of_repeats(table: Table, repeats: pl.DataFrame) -> pl.DataFrame:
    key = ", ".join(table.natural_key)
    said = {"repeated": f"each row once (one for each {key})", "conflict": f"rows that agree (one for each {key})"}
    rules = table.name + ".row." + repeats["rule"]
    expected = repeats["rule"].replace_strict(said, return_dtype=pl.String)
    return _of_row(repeats["line_"], rules, expected, pl.Series([""] * repeats.height, dtype=pl.String))


def _of_broken(raw: RawTable) -> pl.DataFrame:
    parts = ([b.rule for b in raw.broken], [b.expected for b in raw.broken], [b.shape for b in raw.broken])
    lines = pl.Series([b.line for b in raw.broken], dtype=pl.Int64)
    return _of_row(lines, *(pl.Series(part, dtype=pl.String) for part in parts))


def records(raw: RawTable, table: Table, typed: pl.DataFrame, repeats: pl.DataFrame) -> pl.DataFrame:
    """Return the set-aside records of one file, in the order of sheet, line, column and rule (see SET_ASIDE_SCHEMA)."""
    bad = raw.rows.join(typed.filter(pl.col("fault_bits") != 0).select("line_", "fault_bits"), on="line_")
    seen = reduce(or_, bad["fault_bits"].unique().to_list(), 0)
    parts = [_of_fault(raw, fault, bit, bad) for bit, fault in enumerate(faults(table)) if seen >> bit & 1]
    found = pl.concat([*parts, _of_repeats(table, repeats), _of_broken(raw)])
    whole = found.join(_about(table, typed), on="line", how="left").with_columns(
        file=raw.file_at(pl.col("line")), table_name=pl.lit(raw.table))
    told = whole.with_columns(physical(pl.col("line")))
    return told.select(pl.col(n).cast(t) for n, t in SET_ASIDE_SCHEMA.items()).sort("file", "line", "column_no", "rule")


def cells(raw: RawTable, table: Table, typed: pl.DataFrame, repeats: pl.DataFrame) -> pl.DataFrame:
    """Return each row set aside as CELLS_SCHEMA: what a person who corrects it need not write again.

    typed: the rows with their `fault_bits`; of a broken record (of `raw`) no cell is known.
    """
    bad = typed.filter((pl.col("fault_bits") != 0) | pl.col("line_").is_in(repeats["line_"].implode()))
    spoilt: dict[str, int] = {}
    for bit, fault in enumerate(faults(table)):
        spoilt[fault.column] = spoilt.get(fault.column, 0) | 1 << bit
    sound = bad.select("line_", *(
        pl.when((pl.col("fault_bits") & spoilt.get(name, 0)) == 0).then(pl.col(name)).cast(pl.String).alias(name)
        for name in table.column_names))
    key = pl.concat_str([pl.col(k) for k in table.natural_key], separator="|")
    rows = sound.select(pl.col("line_").alias("line"), key_text=key, cells=pl.struct(table.column_names)
                        .struct.json_encode())
    lost = pl.DataFrame({"line": [b.line for b in raw.broken]}, schema={"line": pl.Int64})
    lost = lost.with_columns(key_text=pl.lit(None, pl.String), cells=pl.lit("{}"))
    place = pl.col("line")
    return pl.concat([rows, lost]).sort("line").select(
        raw.file_at(place).alias("file"), place % SHEET, "key_text", "cells")
