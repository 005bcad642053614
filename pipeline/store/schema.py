"""The `received` tables, made from the contract, and the mark by which a store of another shape is known."""

from __future__ import annotations

import hashlib
import re

from pipeline import __version__
from pipeline.contract import TABLES, Table
from pipeline.errors import StoreError
from pipeline.store.migrations import steps
from pipeline.store.store import Store

SQL_TYPES = {
    "key": "varchar", "label": "varchar", "code": "varchar", "whole": "bigint", "number": "double", "day": "date",
}

#: Columns beside the contract's own. `ordinal` tells rows apart whose natural key has an empty part (a session without
#: a slot): 1, 2, ... in file order, else 0.
HISTORY = "ordinal bigint, from_batch bigint, to_batch bigint, file varchar, line bigint"

BOOKS = {
    "batches": "batch_id bigint, loaded_at varchar, program_version varchar, settings_text varchar, note varchar, "
               "map_text varchar",
    "files": "batch_id bigint, file varchar, table_name varchar, sha256 varchar, rows_read bigint, rows_kept bigint, "
             "rows_set_aside bigint, rows_unchanged bigint, contract_mark varchar, is_correction boolean",
    "set_aside": "batch_id bigint, to_batch bigint, file varchar, line bigint, column_no bigint, table_name varchar, "
                 "column_name varchar, rule varchar, expected varchar, masked_value varchar, site varchar, "
                 "client_key_ok varchar, occurred_on date",
    "set_aside_rows": "batch_id bigint, file varchar, line bigint, table_name varchar, key_text varchar, cells varchar",
    "unknown_columns": "batch_id bigint, file varchar, table_name varchar, column_name varchar",
    "annotations": "kind varchar, on_day date, text varchar, sites varchar, of_quarter varchar, measure varchar, "
                   "followed varchar, from_batch bigint, to_batch bigint",
    "plans": "plan_no bigint, registered_at varchar, after_batch bigint, tests_loaded bigint, sha256 varchar, "
             "changed varchar, plan_text varchar",
}


def received_table(table: Table) -> str:
    """Write the statement that makes `received.<table>`."""
    columns = ", ".join(f"{c.name} {SQL_TYPES[c.kind]}" for c in table.columns)
    return f"create table received.{table.name} ({columns}, {HISTORY})"


def statements() -> list[str]:
    """List every statement that makes an empty store."""
    books = [f"create table received.{name} ({columns})" for name, columns in BOOKS.items()]
    return ["create schema received", *books, *(received_table(t) for t in TABLES.values())]


def schema_mark() -> str:
    """Name the shape of the store: 12 hexadecimal digits that change with any table, column or type."""
    return hashlib.sha256("\n".join(statements()).encode()).hexdigest()[:12]


def make_tables(store: Store) -> None:
    """Make the empty tables of a new store, in one transaction."""
    with store.transaction():
        for statement in statements():
            store.execute(statement)
        store.execute("create table received.store_version (schema_mark varchar)")
        store.execute("insert into received.store_version values ($mark)", {"mark": schema_mark()})


def _mark(store: Store) -> str:
    """Read the mark that a store bears; empty where it bears none."""
    if not store.has_table("received.store_version"):
        return ""
    return str(store.table("received.store_version")["schema_mark"][0])


def shape(store: Store) -> list[tuple[str, str, str]]:
    """List every column of `received` as (table, column, type), in order."""
    found = store.sql("select table_name, column_name, data_type from duckdb_columns() where database_name = 'rmt' "
                      "and schema_name = 'received' order by table_name, column_index")
    return [(str(t), str(c), str(k)) for t, c, k in found.iter_rows()]


def _wanted() -> list[tuple[str, str, str]]:
    new = Store(":memory:")
    try:
        make_tables(new)
        return shape(new)
    finally:
        new.close()


def _is_newer(store: Store) -> bool:
    """Say whether a later version of this program has written to the store."""
    if not store.has_table("received.batches"):
        return False
    def place(version: str) -> list[int]:
        return [int(part) for part in re.findall("[0-9]+", version)]

    written = store.sql("select distinct program_version from received.batches")["program_version"]
    return any(place(v or "") > place(__version__) for v in written)


def check_version(store: Store) -> None:
    """Raise StoreError unless the store has exactly the tables of this version; a store that is being written, and was
    made by an earlier version, is brought to them first."""
    found = _mark(store)
    if found == schema_mark():
        return
    statements = steps(shape(store), _wanted()) if found and not _is_newer(store) else None
    if statements is None:
        raise StoreError(
            f"the store was made by another version of this program (its tables: {found or 'not ours'}; "
            f"this version's: {schema_mark()})", expected="a store made by this version",
            now="load the files again into a new store, or use the version that made this one")
    if store.read_only:
        raise StoreError("the store was made by an earlier version of this program", expected="a store of this version",
                         now="run `rmt-outcomes derive`, which brings it up to date")
    with store.transaction():
        for statement in statements:
            store.execute(statement)
        store.execute("update received.store_version set schema_mark = $mark", {"mark": schema_mark()})
