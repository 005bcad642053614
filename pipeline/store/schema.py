"""The `received` tables, made from the contract, and the mark by which a store of another shape is known."""

from __future__ import annotations

import hashlib

from pipeline.contract import TABLES, Table
from pipeline.errors import StoreError
from pipeline.store.store import Store

SQL_TYPES = {
    "key": "varchar", "label": "varchar", "code": "varchar", "whole": "bigint", "number": "double", "day": "date",
}

#: Columns beside the contract's own. `ordinal` tells rows apart whose natural key has an empty part (a session without
#: a slot): 1, 2, ... in file order, else 0.
HISTORY = "ordinal bigint, from_batch bigint, to_batch bigint, file varchar, line bigint"

BOOKS = {
    "batches": "batch_id bigint, loaded_at varchar, program_version varchar, settings_text varchar, note varchar",
    "files": "batch_id bigint, file varchar, table_name varchar, sha256 varchar, rows_read bigint, rows_kept bigint, "
             "rows_set_aside bigint, rows_unchanged bigint",
    "set_aside": "batch_id bigint, to_batch bigint, file varchar, line bigint, column_no bigint, table_name varchar, "
                 "column_name varchar, rule varchar, expected varchar, masked_value varchar, site varchar, "
                 "client_key_ok varchar, occurred_on date",
    "unknown_columns": "batch_id bigint, file varchar, table_name varchar, column_name varchar",
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


def check_version(store: Store) -> None:
    """Raise StoreError unless the store was made with exactly these tables."""
    found = ""
    if store.has_table("received.store_version"):
        found = str(store.table("received.store_version")["schema_mark"][0])
    if found != schema_mark():
        raise StoreError(
            f"the store was made by another version of this program (its tables: {found or 'not ours'}; "
            f"this version's: {schema_mark()})", expected="a store made by this version",
            now="load the files again into a new store, or use the version that made this one")
