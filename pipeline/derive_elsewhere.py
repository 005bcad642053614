"""Derives outside the store: rows go out as Parquet, an engine makes the tables, and what later stages read comes home.

A table is a folder of Parquet files between steps. What is finished stays when a run breaks off, and the next run goes
on from it; the store changes in one transaction at the end, or not at all.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl

from pipeline import __version__
from pipeline.derive import (
    MADE_HERE,
    DeriveSummary,
    Progress,
    batch,
    build_all,
    current_settings,
    empty_schemas,
    frames_made_here,
    references,
    run_order,
    sql_files,
    summary_of,
)
from pipeline.engines import Desk, Engine, rows_of
from pipeline.settings import Settings

if TYPE_CHECKING:
    from pipeline.store import Store

HOME = ("frames.", "must_be_empty.", "settings.", "settled.span")
"""Tables that come back into the store: what later stages read. The others are gone when the build has ended well."""

HOME_OF_SUMS = ("settings.", "settled.span")
"""The same where only sums are wanted: no table with a row of a client."""

#: The store only hands rows over and takes them back: the memory is the engine's.
STORE_MEMORY = "600MB"


def largest_received(store: Store) -> int:
    """Rows of the largest table of `received`."""
    return max(_received_counts(store).values())


def _received_counts(store: Store) -> dict[str, int]:
    names = store.sql("select table_name from duckdb_tables() where database_name = 'rmt' and schema_name = 'received' "
                      "order by table_name")["table_name"]
    return {name: int(store.sql(f"select count(*) as n from received.{name}").item()) for name in names}


def made_from(store: Store, label: str, settings: Settings, as_of_batch: int) -> str:
    """Name everything that the tables depend on, as one hash: rows, settings, texts, program and engine."""
    books = [store.table(f"received.{name}").write_json() for name in ("batches", "files")]
    told = [label, __version__, current_settings(settings, as_of_batch).write_json(), sorted(sql_files().items())]
    return hashlib.sha256(json.dumps([*told, *books, _received_counts(store)]).encode()).hexdigest()


def open_desk(store: Store, folder: Path, label: str, settings: Settings, as_of_batch: int | None) -> Desk:
    """Open the folder of tables; those of another input or engine are thrown away."""
    return Desk(folder, made_from(store, label, settings, batch(store, as_of_batch)))


def derive_elsewhere(
    store: Store, settings: Settings, engine: Engine, desk: Desk, *, as_of_batch: int | None = None,
    progress: Progress | None = None,
) -> DeriveSummary:
    """Build every derived table by `engine` and bring HOME into the store: see `make_tables`, `bring_home`."""
    order = make_tables(store, settings, engine, desk, as_of_batch=as_of_batch, progress=progress)
    with store.transaction():
        return bring_home(store, desk, order)


def make_tables(
    store: Store, settings: Settings, engine: Engine, desk: Desk, *, as_of_batch: int | None = None,
    progress: Progress | None = None,
) -> list[str]:
    """Build every derived table by `engine`, from the rows current at `as_of_batch` (default: the last batch).

    Tables stand in the folders of `desk` and stay there. Returns their names in order. RmtError where a file is not
    sound SQL; EngineError from the engine; the store is not touched.
    """
    files = sql_files()
    order = run_order(files)
    store.execute(f"set memory_limit = '{STORE_MEMORY}'")
    for name in sorted({t for read in references(files).values() for t in read if t.startswith("received.")}):
        if not desk.is_finished(name):
            store.write_parquet(name, desk.begin(name) / "received.parquet")
            engine.table(name, desk.place(name))
            desk.finish(name)
        else:
            engine.table(name, desk.place(name))
    made = frames_made_here(settings, batch(store, as_of_batch), lambda: table_of(desk, "settled.clients"))
    build_all(engine, desk, order, files, made, progress)
    return order


def bring_home(store: Store, desk: Desk, order: Sequence[str], names: tuple[str, ...] = HOME) -> DeriveSummary:
    """Put the tables whose names begin so into the store, in place of all that were derived before; part of a
    transaction of the caller's."""
    empty_schemas(store)
    for name in order:
        if name.startswith(names) or (name in MADE_HERE and names == HOME):
            store.read_parquet(name, desk.place(name))
    causes = rows_of(desk.place("frames.queries")).group_by("cause").agg(pl.len().cast(pl.Int64).alias("n")).collect()
    return summary_of({name: store.rows_of_parquet(desk.place(name)) for name in order}, causes)


def table_of(desk: Desk, name: str) -> pl.DataFrame:
    """Read a table from its folder."""
    return rows_of(desk.place(name)).collect()
