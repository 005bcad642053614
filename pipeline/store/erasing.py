"""Erases a person from a store: a new file is built without them, because a deleted row's bytes stay in the old."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import StoreError
from pipeline.store.lock import write_lock
from pipeline.store.opening import _beside, _clear, _replace, _require
from pipeline.store.schema import check_version, make_tables
from pipeline.store.store import Store

#: Columns that name the person of a row, and columns whose text may hold a whole row or the name of a result.
_KEYS, _TEXTS = ("client_key", "client_key_ok", "key_text"), ("cells", "key")

#: Tables that are kept beside `received`: what earlier reviews said of everybody together. All else is derived again.
_LASTING = ("results.reviews", "results.published")

#: Put where the key stood in a text that is kept (a file's name, a note).
ERASED = "(erased)"


@dataclass(frozen=True)
class Erasure:
    """What was erased: rows by table, and the batches that had held them."""

    rows: dict[str, int]
    batches: tuple[int, ...]


def _columns(store: Store, table: str) -> list[tuple[str, bool]]:
    found = store.sql("select column_name, data_type = 'VARCHAR' as is_text from duckdb_columns() where database_name "
                      "= 'old' and schema_name || '.' || table_name = $t order by column_index", {"t": table})
    return [(str(name), bool(is_text)) for name, is_text in found.iter_rows()]


def _is_theirs(columns: list[tuple[str, bool]]) -> str:
    """Write the condition under which a row is the person's own."""
    names = [name for name, _ in columns]
    tests = [f'"{n}" = $key' for n in _KEYS if n in names] + [f'contains("{n}", $key)' for n in _TEXTS if n in names]
    return "coalesce(" + (" or ".join(f"coalesce({t}, false)" for t in tests) or "false") + ", false)"


def _kept(columns: list[tuple[str, bool]]) -> str:
    return ", ".join(f"replace(\"{n}\", $key, '{ERASED}') as \"{n}\"" if is_text and n not in _KEYS else f'"{n}"'
                     for n, is_text in columns)


def _copy(store: Store, table: str, key: str) -> tuple[int, set[int]]:
    """Copy a table such as `received.tests` without the person; return how many rows they had, in which batches."""
    columns, at = _columns(store, table), {"key": key}
    theirs, names = _is_theirs(columns), ", ".join(f'"{n}"' for n, _ in columns)
    batch = next((n for n in ("from_batch", "batch_id") if f'"{n}"' in names), None)
    if not store.has_table(table):
        store.execute(f"create table {table} as select * from old.{table} limit 0")
    store.execute(f"delete from {table}")
    # columns by name; `replace` writes over a key in any text that is kept
    store.execute(f"insert into {table} ({names}) select {_kept(columns)} from old.{table} "
                  f"where not {theirs} order by rowid", at if f"{_kept(columns)} {theirs}".count("$key") else None)
    if "$key" not in theirs:
        return 0, set()
    gone = store.sql(f"select {batch or 'null'} as batch, count(*) as n from old.{table} where {theirs} "
                     "group by all", at)
    return int(gone["n"].sum() or 0), {int(b) for b in gone["batch"].drop_nulls()}


def _build(fresh: Path, path: Path, key: str, note: str) -> Erasure:
    """Write the store at `path` again to `fresh`, without the person and without anything derived."""
    store = Store(str(fresh))
    try:
        quoted = str(path).replace("'", "''")
        store.execute(f"attach '{quoted}' as old (read_only)")
        make_tables(store)
        store.execute("create schema results")
        found = store.sql("select schema_name || '.' || table_name as name from duckdb_tables() where database_name = "
                          "'old' order by name")["name"].to_list()
        tables = [str(t) for t in found if str(t).startswith("received.") or t in _LASTING]
        rows, batches = {}, set[int]()
        for table in tables:
            n, seen = _copy(store, table, key)
            batches |= seen
            if n:
                rows[table] = n
        if batches:
            store.execute("update received.batches set note = trim(coalesce(note, '') || ' ' || $note) "
                          f"where batch_id >= {min(batches)}", {"note": note})
        store.execute("detach old")
        return Erasure(rows, tuple(sorted(batches)))
    finally:
        store.close()


def erase(path: Path, key: str, note: str) -> Erasure:
    """Build the store at `path` anew without the person `key` and put it in place in one step.

    Derived tables and results are left out: they must be made again. Every batch from the first that held the person on
    gets `note`. StoreError: no such store, no such person in it, held by another writer, or not writable.
    """
    _require(path)
    fresh = _beside(path, ".next")
    with write_lock(_beside(path, ".lock")):
        _clear(fresh)
        try:
            old = Store(str(path), read_only=True)
            try:
                check_version(old)
            finally:
                old.close()
            erasure = _build(fresh, path, key, note)
            if not erasure.rows:
                raise StoreError("nobody in this store has the key that was given", now="check it letter by letter")
            if key.encode() in fresh.read_bytes():
                raise StoreError("the key is still in the store that was built; the old one stays as it was",
                                 now="report this to the developers")
            _replace(fresh, path)
        except OSError as fault:
            raise StoreError("the store could not be written and stays as it was",
                             expected="room on the disk and leave to write", now="free some room") from fault
        finally:
            _clear(fresh)
    return erasure


def erasure_note(store: Store, as_of_batch: int) -> str:
    """Say why a review as of a batch cannot be rebuilt byte for byte; empty where nobody was erased since."""
    found = store.sql("select coalesce(note, '') as note from received.batches where batch_id = $b", {"b": as_of_batch})
    note = str(found["note"][0]) if found.height else ""
    return note if "was erased" in note else ""
