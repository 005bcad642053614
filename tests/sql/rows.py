"""Runs one SQL file alone: small rows in under the names of its inputs, rows out."""

from __future__ import annotations

from datetime import date
from functools import cache
from typing import Any

import polars as pl

from pipeline import derive
from pipeline.settings import Settings
from pipeline.store import Store, open_store

Row = dict[str, Any]


def day(text: str) -> date:
    return date.fromisoformat(text)


@cache
def column_types() -> dict[str, dict[str, str]]:
    """Columns and SQL types of every table, learned from the derivation of an empty store."""
    with open_store(":memory:") as store:
        derive.derive(store, Settings())
        found = store.sql(
            "select schema_name || '.' || table_name as name, column_name, data_type from duckdb_columns() "
            "where not internal order by name, column_index"
        )
    types: dict[str, dict[str, str]] = {}
    for name, column, kind in found.iter_rows():
        types.setdefault(name, {})[column] = kind
    return types


@cache
def calendar(settings: Settings) -> list[Row]:
    """The days of 1999 to 2002 and of 2024 to 2026 with their quarters, as sql/settled/calendar.sql tells them."""
    years = [*range(1999, 2003), *range(2024, 2027)]
    found = run("settled.calendar", {}, settings)
    return [row for row in found if row["day_on"].year in years]


def run(name: str, inputs: dict[str, list[Row]], settings: Settings | None = None, as_of_batch: int = 1) -> list[Row]:
    """Run sql/<name> over `inputs` (columns left out are null; received rows are of batch 1) and return its rows."""
    text = derive.sql_files()[name]
    needed = derive.references({name: text})[name]
    assert set(inputs) <= needed, f"{name} does not read {sorted(set(inputs) - needed)}"
    with open_store(":memory:") as store:
        for table in sorted(needed):
            _make(store, table, inputs.get(table, []), settings or Settings(), as_of_batch)
        store.execute(f"create schema if not exists {name.split('.')[0]}")
        store.execute(f"create or replace table {name} as {text}")
        return store.table(name).to_dicts()


def _make(store: Store, table: str, rows: list[Row], settings: Settings, as_of_batch: int) -> None:
    if table == "settings.current":
        rows = derive.current_settings(settings, as_of_batch).to_dicts()
    if table == "reference.unit_factors":
        rows = derive.unit_factors().to_dicts()
    if table == "settled.calendar":
        rows = calendar(settings)
    types = column_types()[table]
    if table.startswith("received."):
        origin = {"from_batch": 1, "batch_id": 1, "file": table.split(".")[1] + ".csv"}
        rows = [{k: v for k, v in (origin | {"line": at}).items() if k in types} | row
                for at, row in enumerate(rows, start=2)]
    else:
        store.execute(f"create schema if not exists {table.split('.')[0]}")
        store.execute(f"create table {table} (" + ", ".join(f'"{c}" {t}' for c, t in types.items()) + ")")
    if table == "settled.calendar":
        store.register("all_rows", pl.DataFrame(rows))
        store.execute(f"insert into {table} by name select * from all_rows")
        return
    for row in rows:
        assert set(row) <= set(types), f"{table} has no {sorted(set(row) - set(types))}"
        store.register("one_row", pl.DataFrame([row]))
        store.execute(f"insert into {table} by name select * from one_row")
        store.unregister("one_row")


def picked(rows: list[Row], *columns: str) -> list[tuple[Any, ...]]:
    """Return these columns of the rows, in the rows' order."""
    return [tuple(row[c] for c in columns) for row in rows]
