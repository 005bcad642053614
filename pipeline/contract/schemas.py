"""The pandera schemas, made from the same contract as the SQL verdict: the verdict's oracle in the tests."""

from __future__ import annotations

import pandera.polars as pa
import polars as pl
from pandera.api.polars.types import PolarsData

from pipeline.contract.columns import (
    SPELLING,
    Column,
    EmptyWhen,
    InOrder,
    NeededUnless,
    NeededWith,
    RangeByCode,
    RowRule,
    Table,
    WholeWhen,
)
from pipeline.contract.faults import Fault, faults
from pipeline.contract.sql import BLANKS


def trimmed(frame: pl.DataFrame) -> pl.DataFrame:
    """Return the text frame as the schemas want it: blanks around a cell removed, a cell left empty is null."""
    text = pl.col(pl.String).str.strip_chars(BLANKS)
    return frame.with_columns(pl.when(text != "").then(text).name.keep())


def _typed(column: Column) -> pl.Expr:
    """Return the typed value of a column, null where it is not well spelled."""
    text = pl.col(column.name)
    if column.codes:
        return pl.when(text.is_in(list(column.codes))).then(text)
    good = pl.when(text.str.contains(rf"\A(?:{SPELLING[column.kind]})\z")).then(text)
    match column.kind:
        case "whole" | "number":
            return good.cast(pl.Float64, strict=False)
        case "day":
            return good.str.to_date("%Y-%m-%d", strict=False)
        case _:
            return good


def _in_range(column: Column) -> pl.Expr:
    good = pl.lit(True)
    for bound, is_low in ((column.low, True), (column.high, False)):
        if bound is not None:
            limit = pl.lit(bound).str.to_date() if isinstance(bound, str) else pl.lit(bound)
            good = good & (_typed(column) >= limit if is_low else _typed(column) <= limit)
    return good


def _keeps_range_by_code(table: Table, rule: RangeByCode) -> pl.Expr:
    value = _typed(table.column(rule.column))
    size = value.abs() if rule.size_only else value
    good = pl.lit(True)
    for code, low, high in rule.ranges:
        above = size > low if rule.above_zero and low == 0 else size >= low
        good = good & ((pl.col(rule.by) != code) | (above & (size <= high)))
    return good


def _keeps(table: Table, fault: Fault, rule: RowRule) -> pl.Expr:
    """Return what holds in a row that keeps `rule`; null counts as yes."""
    match rule:
        case InOrder():
            return _typed(table.column(rule.first)) <= _typed(table.column(rule.then))
        case NeededUnless() if fault.column == rule.column:
            return pl.col(rule.column).is_not_null() | pl.col(rule.unless).is_not_null()
        case NeededUnless():
            return pl.col(rule.column).is_null() | pl.col(rule.unless).is_null()
        case NeededWith():
            return pl.col(rule.column).is_not_null() | pl.col(rule.when).is_null()
        case EmptyWhen():
            return pl.col(fault.column).is_null() | ~pl.col(rule.when).is_in(list(rule.codes))
        case WholeWhen():
            value = _typed(table.column(rule.column))
            return (value == value.floor()) | ~pl.col(rule.when).is_in(list(rule.codes))
        case RangeByCode():
            return _keeps_range_by_code(table, rule)


def _check(table: Table, fault: Fault) -> pa.Check:
    def holds(data: PolarsData) -> pl.LazyFrame:
        column = table.column(fault.column)
        match fault.test:
            case "needed":
                good = pl.col(column.name).is_not_null()
            case "spelled" | "coded":
                good = pl.col(column.name).is_null() | _typed(column).is_not_null()
            case "ranged":
                good = _in_range(column)
            case rule:
                good = _keeps(table, fault, rule)
        return data.lazyframe.select(good.fill_null(True).alias("good"))

    return pa.Check(holds, name=fault.rule, error=fault.rule)


def pandera_schema(table: Table) -> pa.DataFrameSchema:
    """Make the schema of a `trimmed` text frame that has every column of `table`.

    Every fault of the contract is one check named by its rule; validate with `lazy=True` to get them all, with the
    index of each failing row. Columns outside the contract are let through unseen.
    """
    columns = {c.name: pa.Column(pl.String, nullable=True, required=c.required) for c in table.columns}
    return pa.DataFrameSchema(columns, checks=[_check(table, f) for f in faults(table)], name=table.name)


def oracle_verdict(table: Table, frame: pl.DataFrame) -> set[tuple[int, str]]:
    """Return every (row index, rule) that the pandera schema finds in a text frame with all columns of `table`."""
    try:
        pandera_schema(table).validate(trimmed(frame), lazy=True)
    except pa.errors.SchemaErrors as found:
        cases = found.failure_cases
        return {(int(i), str(rule)) for i, rule in zip(cases["index"], cases["check"], strict=True)}
    return set()
