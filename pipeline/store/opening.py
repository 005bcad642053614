"""Opens a store. Readers see the last whole state; a writer works on a copy that replaces it in one step."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb

from pipeline.errors import StoreError
from pipeline.store.lock import write_lock
from pipeline.store.schema import check_version, make_tables
from pipeline.store.scratch import clear_scratch
from pipeline.store.store import Store


def _beside(path: Path, ending: str) -> Path:
    return path.with_name(path.name + ending)


def _clear(path: Path) -> None:
    for stale in (path, _beside(path, ".wal")):
        stale.unlink(missing_ok=True)
    clear_scratch(path)


def _sync(path: Path) -> None:
    """Make sure that the bytes of a file (or the entries of a folder) have reached the disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError:
        if not path.is_dir():  # some systems cannot sync a folder: the rename itself is still whole
            raise
    finally:
        os.close(handle)


def _require(path: Path) -> None:
    if not path.is_file():
        raise StoreError("there is no store here yet", where=path.name, now="run `rmt-outcomes load` first")


def _replace(next_path: Path, path: Path) -> None:
    _sync(next_path)
    try:
        next_path.replace(path)
    except OSError as fault:
        raise StoreError("the store is held open by another program and stays as it was",
                         now="close that program and run this again") from fault
    if os.name == "posix":
        _sync(path.parent)


@contextmanager
def edit_store(path: Path, *, must_exist: bool = False) -> Iterator[Store]:
    """Open the store file `path` for writing while the block runs.

    The block works on a copy, `<path>.next`, under the lock `<path>.lock`; when it ends well and something changed,
    the copy replaces the store in one step, else the store stays as it was. A store that is not there is made, unless
    it `must_exist`. StoreError: held by another writer, made by another version, not writable, or not there.
    """
    if must_exist:
        _require(path)
    next_path = _beside(path, ".next")
    with write_lock(_beside(path, ".lock")):
        _clear(next_path)
        is_new = not path.exists()
        try:
            if not is_new:
                shutil.copyfile(path, next_path)
            store = Store(str(next_path))
            try:
                if is_new:
                    make_tables(store)
                else:
                    check_version(store)
                yield store
                store.close()
            except BaseException:
                store.abandon()
                raise
            if store.has_changed:
                _replace(next_path, path)
        except (OSError, duckdb.IOException, duckdb.FatalException, duckdb.OutOfMemoryException) as fault:
            raise StoreError(
                "the store could not be written and stays as it was", expected="room on the disk and leave to write",
                now="free some room, or choose another folder") from fault
        finally:
            _clear(next_path)


@contextmanager
def open_store(path: Path | str, *, read_only: bool = False) -> Iterator[Store]:
    """Open the store file `path` for a `with` block; ":memory:" makes one that lasts as long as the block.

    To read a file, say `read_only`; else see `edit_store`. StoreError: no such store, or made by another version.
    """
    if str(path) == ":memory:":
        store = Store(":memory:")
        make_tables(store)
    elif not read_only:
        with edit_store(Path(path)) as store:
            yield store
        return
    else:
        _require(Path(path))
        store = Store(str(path), read_only=True)
    try:
        if read_only:
            check_version(store)
        yield store
    finally:
        store.close()
