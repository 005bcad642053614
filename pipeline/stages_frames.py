"""What every later stage reads from a store: its frames, and the last day the data speak for."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import polars as pl

    from pipeline.store import Store


def frames_of(store: Store) -> dict[str, pl.DataFrame]:
    """Return every table of the schema `frames` by its name, in the order of names."""
    names = store.sql(
        "select table_name from information_schema.tables where table_schema = 'frames' order by table_name"
    )["table_name"].to_list()
    return {name: store.table(f"frames.{name}") for name in names}


def data_until(store: Store) -> str:
    """Return the last day the data speak for, as YYYY-MM-DD."""
    return str(store.sql("select data_until_on from settled.span")["data_until_on"][0])


def told_until(store: Store, quarter: str) -> str:
    """Return the last day the data speak for as the results of `quarter` tell days: "day 812" for a block."""
    from pipeline.identity.quarters import day_words
    return day_words(dt.date.fromisoformat(data_until(store)), quarter)
