"""What every later stage reads from a store: its frames, and the last day the data speak for."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from pipeline.errors import StoreError

if TYPE_CHECKING:
    import polars as pl

    from pipeline.store import Store


POST_HOC = "results.post_hoc"


def require(store: Store, table: str, command: str) -> None:
    """Raise StoreError where a table that `command` makes is not in the store."""
    if not store.has_table(table):
        raise StoreError("the store does not hold what this builds on", expected=f"what `{command}` makes",
                         now=f"run `rmt-outcomes {command}` first, or `review`, which does it all")


def holds_only_sums(store: Store) -> bool:
    """Tell whether the results that stand were computed from sums, without a row of a client (results.run, only_sums;
    a version without sums wrote no such column)."""
    if not store.has_table("results.run"):
        return False
    run = store.sql("select * from results.run")
    return "only_sums" in run.columns and bool(run["only_sums"][0])


def refuse_sums(store: Store) -> None:
    """Raise StoreError where sums alone came home, for what needs derived rows."""
    if not store.has_table("frames.courses") and holds_only_sums(store):
        raise StoreError("the store holds sums only: no row of a client is derived in it",
                         expected="what `derive` makes without --only-sums",
                         now="run `rmt-outcomes derive` without --only-sums, then this again")


def frames_of(store: Store) -> dict[str, pl.DataFrame]:
    """Return every table of the schema `frames` by its name, in the order of names; "plans", those registered; and
    "asked", the analyses asked for after the data were seen.

    StoreError where no rows have been derived.
    """
    refuse_sums(store)
    require(store, "frames.courses", "derive")
    names = store.sql(
        "select table_name from information_schema.tables where table_schema = 'frames' order by table_name"
    )["table_name"].to_list()
    return {name: store.table(f"frames.{name}") for name in names} | {
        "plans": store.table("received.plans"), "asked": asked_of(store)}


def asked_of(store: Store, of_all_batches: bool = False) -> pl.DataFrame:
    """Return the analyses asked for after the data were seen, the first first: asked_no, label, condition, asked_on,
    batch_id. Those asked for after the batch that the frames are made of are left out, unless `of_all_batches`.
    """
    import polars as pl
    if not store.has_table(POST_HOC):
        names = {"asked_no": pl.Int64, "label": pl.String, "condition": pl.String, "asked_on": pl.String}
        return pl.DataFrame(schema={**names, "batch_id": pl.Int64})
    known = store.sql(f"select * from {POST_HOC} order by asked_no")
    last = None if of_all_batches else store.sql("select as_of_batch from settings.current").item()
    return known if last is None else known.filter(pl.col("batch_id") <= int(last))


def data_until(store: Store) -> str:
    """Return the last day the data speak for, as YYYY-MM-DD."""
    return str(store.sql("select data_until_on from settled.span")["data_until_on"][0])


def told_until(store: Store, quarter: str) -> str:
    """Return the last day the data speak for as the results of `quarter` tell days: "day 812" for a block."""
    from pipeline.identity.quarters import day_words
    return day_words(dt.date.fromisoformat(data_until(store)), quarter)
