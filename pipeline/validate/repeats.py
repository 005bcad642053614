"""Rows of one natural key inside one file: identical ones once, disagreeing ones not at all."""

from __future__ import annotations

import polars as pl

from pipeline.contract import Table


def repeated_rows(table: Table, good: pl.DataFrame) -> pl.DataFrame:
    """Return `line_` and `rule` of well-formed rows that may not stand beside another of their natural key.

    Identical rows: all but the first are `repeated`. Rows that disagree: every one is a `conflict`, because nothing
    says which is right. A key with an empty part (a session without a slot) says nothing about repetition.
    """
    key = list(table.natural_key)
    filled = good.filter(pl.all_horizontal(pl.col(key).is_not_null()))
    twice = filled.filter(pl.struct(key).is_duplicated())
    versions = pl.struct(table.column_names).n_unique().over(key)
    first = pl.col("line_").min().over(key)
    marked = twice.with_columns(is_conflict=versions > 1, is_first=pl.col("line_") == first)
    rule = pl.when("is_conflict").then(pl.lit("conflict")).otherwise(pl.lit("repeated"))
    return marked.filter(pl.col("is_conflict") | ~pl.col("is_first")).select("line_", rule=rule).sort("line_")


def ordinals(table: Table, kept: pl.DataFrame) -> pl.DataFrame:
    """Add `ordinal`: 0 where the natural key is whole, else 1, 2, ... in file order among the rows that share it."""
    key = list(table.natural_key)
    place = pl.col("line_").rank("ordinal").over(key).cast(pl.Int64)
    is_whole = pl.all_horizontal(pl.col(key).is_not_null())
    return kept.with_columns(ordinal=pl.when(is_whole).then(pl.lit(0, pl.Int64)).otherwise(place))
