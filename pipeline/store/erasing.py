"""Erases a person from a store: a new file is built without them, because a deleted row's bytes stay in the old."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.errors import StoreError
from pipeline.identity.erased import Erased
from pipeline.store.lock import write_lock
from pipeline.store.opening import _beside, _clear, _replace, _require, open_store
from pipeline.store.schema import check_version, make_tables
from pipeline.store.store import ALIAS, Store

#: Columns that name the person of a row, and columns whose text may hold a whole row or the name of a result.
_KEYS, _TEXTS = ("client_key", "client_key_ok", "key_text"), ("cells", "key")

#: Tables that are kept beside `received`: what earlier reviews said of everybody together, and the analyses that were
#: asked for. All else is derived again.
_LASTING = ("results.reviews", "results.published", "results.editions", "results.edition_rows",
            "results.edition_counts", "results.edition_sums", "results.post_hoc")

#: Put where the key stood in a text that is kept (a file's name, a note).
ERASED = "(erased)"


@dataclass(frozen=True)
class Erasure:
    """What was erased: rows by table, and the batches that had held them."""

    rows: dict[str, int]
    batches: tuple[int, ...]


def _tables(store: Store, database: str) -> list[str]:
    found = store.sql("select schema_name || '.' || table_name as name from duckdb_tables() where database_name = $d "
                      "order by name", {"d": database})["name"].to_list()
    return [str(t) for t in found if str(t).startswith("received.") or t in _LASTING]


def _columns(store: Store, database: str, table: str) -> list[tuple[str, bool]]:
    found = store.sql("select column_name, data_type = 'VARCHAR' as is_text from duckdb_columns() where database_name "
                      "= $d and schema_name || '.' || table_name = $t order by column_index",
                      {"d": database, "t": table})
    return [(str(name), bool(is_text)) for name, is_text in found.iter_rows()]


def _shielded(name: str, erased: Erased) -> str:
    """Write the text of a column with every longer key in it replaced by a mark."""
    expression = f'"{name}"'
    for k in range(len(erased.longer)):
        expression = f"replace({expression}, $longer{k}, chr(1) || '{k}' || chr(1))"
    return expression


def _params(text: str, erased: Erased) -> dict[str, Any]:
    known = {"key": erased.key} | {f"longer{k}": other for k, other in enumerate(erased.longer)}
    return {name: value for name, value in known.items() if f"${name}" in text}


def _has(name: str, erased: Erased) -> str:
    """Write the condition that a column's text holds the key, other than inside a longer one."""
    return f"coalesce(contains({_shielded(name, erased)}, $key), false)"


def _is_theirs(columns: list[tuple[str, bool]], erased: Erased) -> str:
    """Write the condition under which a row is the person's own."""
    names = [name for name, _ in columns if name in (*_KEYS, *_TEXTS)]
    return "(" + (" or ".join(_has(name, erased) for name in names) or "false") + ")"


def _kept(columns: list[tuple[str, bool]], erased: Erased) -> str:
    """Write the columns of the rows that are kept, the key put out in every text."""
    def without(name: str) -> str:
        text = f"replace({_shielded(name, erased)}, $key, '{ERASED}')"
        for k in range(len(erased.longer)):
            text = f"replace({text}, chr(1) || '{k}' || chr(1), $longer{k})"
        return f'{text} as "{name}"'

    return ", ".join(without(n) if is_text and n not in _KEYS else f'"{n}"' for n, is_text in columns)


def _copy(store: Store, table: str, erased: Erased) -> tuple[int, set[int]]:
    """Copy a table such as `received.tests` without the person; return how many rows they had, in which batches."""
    columns = _columns(store, "old", table)
    theirs, names = _is_theirs(columns, erased), ", ".join(f'"{n}"' for n, _ in columns)
    batch = next((n for n in ("from_batch", "batch_id") if f'"{n}"' in names), "null")
    if not store.has_table(table):
        store.execute(f"create table {table} as select * from old.{table} limit 0")
    store.execute(f"delete from {table}")
    insert = (f"insert into {table} ({names}) select {_kept(columns, erased)} from old.{table} where not {theirs} "
              "order by rowid")
    store.execute(insert, _params(insert, erased) or None)
    gone = f"select {batch} as batch, count(*) as n from old.{table} where {theirs} group by all"
    found = store.sql(gone, _params(gone, erased))
    return int(found["n"].sum() or 0), {int(b) for b in found["batch"].drop_nulls()}


def _build(fresh: Path, path: Path, erased: Erased, note: str) -> Erasure:
    """Write the store at `path` again to `fresh`, without the person and without anything derived."""
    store = Store(str(fresh))
    try:
        quoted = str(path).replace("'", "''")
        store.execute(f"attach '{quoted}' as old (read_only)")
        make_tables(store)
        store.execute("create schema results")
        rows, batches = {}, set[int]()
        for table in _tables(store, "old"):
            n, seen = _copy(store, table, erased)
            batches |= seen
            if n:
                rows[table] = n
        if batches:
            store.execute("update received.batches set note = trim(coalesce(note, '') || ' ' || $note) "
                          f"where batch_id >= {min(batches)}", {"note": note})
        store.execute("detach old")
        if _holds(store, erased):
            raise _still_there()
        return Erasure(rows, tuple(sorted(batches)))
    finally:
        store.close()


def _still_there() -> StoreError:
    return StoreError("the key is still in the store that was built; the old one stays as it was",
                      now="report this to the developers")


def _holds(store: Store, erased: Erased) -> bool:
    """Say whether any text of a store's tables holds the key: a compressed column does not show it in its bytes."""
    for table in _tables(store, ALIAS):
        if texts := [_has(name, erased) for name, is_text in _columns(store, ALIAS, table) if is_text]:
            query = f"select count(*) as n from {table} where {' or '.join(texts)}"
            if store.sql(query, _params(query, erased))["n"][0]:
                return True
    return False


def _parts(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while part := file.read(1 << 23):
            yield part


def person(path: Path, key: str) -> tuple[Erased, bool]:
    """Return a key with the longer keys of the store that contain it, and whether the store at `path` holds it."""
    with open_store(path, read_only=True) as store:
        longer = set[str]()
        for table in _tables(store, ALIAS):
            for name in {name for name, _ in _columns(store, ALIAS, table)} & {"client_key", "client_key_ok"}:
                found = store.sql(f"select distinct {name} as k from {table} where contains({name}, $key) "
                                  f"and {name} <> $key", {"key": key})
                longer |= {str(k) for k in found["k"]}
        erased = Erased(key, tuple(sorted(longer, key=lambda k: (-len(k), k))))
        return erased, _holds(store, erased)


def erase(path: Path, erased: Erased, note: str) -> Erasure:
    """Build the store at `path` anew without a person (see `person`) and put it in place in one step.

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
            erasure = _build(fresh, path, erased, note)
            if not erasure.rows:
                raise StoreError("nobody in this store has the key that was given", now="check it letter by letter")
            # DuckDB keeps the first 12 bytes of a column's largest text beside it: of a longer key they may be this one
            if not erased.longer and erased.in_bytes(_parts(fresh)):
                raise _still_there()
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
