"""The store: old state or new state, never between; one writer at a time (real processes)."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import duckdb
import polars as pl
import pytest

from pipeline.errors import StoreError
from pipeline.store import Store, edit_store, open_store
from pipeline.store.schema import BOOKS, received_table, schema_mark

#: Opens the store in a process of its own, writes, says so, and waits to be killed or told to go on.
WRITER = """
import sys
from pathlib import Path
from pipeline.store import edit_store
with edit_store(Path(sys.argv[1])) as store:
    store.execute("create table received.half (a int)")
    print("written", flush=True)
    sys.stdin.readline()
"""


def add_file(store: Store, n: int) -> None:
    store.insert("received.files", pl.DataFrame({"batch_id": [n], "file": ["tests.csv"]}))


def writer(path: Path) -> subprocess.Popen[str]:
    process = subprocess.Popen([sys.executable, "-c", WRITER, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                               text=True)
    assert process.stdout is not None and process.stdout.readline() == "written\n"
    return process


def made(path: Path) -> bytes:
    with edit_store(path) as store:
        add_file(store, 1)
    return path.read_bytes()


def test_a_write_that_ends_well_replaces_the_store(tmp_path: Path) -> None:
    path = tmp_path / "store.duckdb"
    made(path)
    with open_store(path, read_only=True) as store:
        assert store.table("received.files")["batch_id"].to_list() == [1]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["store.duckdb", "store.duckdb.lock"]


def test_a_write_that_fails_or_changes_nothing_leaves_the_bytes(tmp_path: Path) -> None:
    path = tmp_path / "store.duckdb"
    before = made(path)
    with pytest.raises(ZeroDivisionError), edit_store(path) as store:
        add_file(store, 2)
        raise ZeroDivisionError
    with edit_store(path) as store:
        store.sql("select 1 as a")
    assert path.read_bytes() == before and not (tmp_path / "store.duckdb.next").exists()


def test_a_transaction_is_all_or_nothing() -> None:
    with open_store(":memory:") as store:
        with pytest.raises(duckdb.Error), store.transaction():
            add_file(store, 1)
            store.execute("insert into received.nowhere values (1)")
        assert store.table("received.files").height == 0


def test_kill_9_in_the_middle_of_a_write_leaves_the_last_good_state(tmp_path: Path) -> None:
    path = tmp_path / "store.duckdb"
    before = made(path)
    process = writer(path)
    os.kill(process.pid, signal.SIGKILL)
    process.wait()
    assert path.read_bytes() == before
    with edit_store(path) as store:  # neither the lock nor the half-made copy stands in the way
        assert not store.has_table("received.half")
        add_file(store, 2)
    with open_store(path, read_only=True) as store:
        assert store.table("received.files").height == 2


def test_readers_read_while_a_writer_writes_and_a_second_writer_is_told_who_it_is(tmp_path: Path) -> None:
    path = tmp_path / "store.duckdb"
    made(path)
    process = writer(path)
    with open_store(path, read_only=True) as store:
        assert not store.has_table("received.half")
        with pytest.raises(StoreError, match=f"process {process.pid} is writing"), edit_store(path):
            pass
        process.communicate("go on\n")
        assert not store.has_table("received.half")  # an open reader keeps the state it began with
    with open_store(path, read_only=True) as store:
        assert store.has_table("received.half")


def test_a_store_of_another_version_or_no_store_at_all_is_refused(tmp_path: Path) -> None:
    other, noise = tmp_path / "other.duckdb", tmp_path / "noise.duckdb"
    with edit_store(other) as store:
        store.execute("update received.store_version set schema_mark = 'abc'")
        store.execute("create table received.visits (a int)")
    noise.write_bytes(b"not a database" * 1000)
    with pytest.raises(StoreError, match="another version"), open_store(other, read_only=True):
        pass
    with pytest.raises(StoreError, match="cannot be opened"), open_store(noise, read_only=True):
        pass
    with pytest.raises(StoreError, match="another version"), edit_store(other):
        pass
    with pytest.raises(StoreError, match="no store here"), edit_store(tmp_path / "none.duckdb", must_exist=True):
        pass


def test_a_reader_cannot_write(tmp_path: Path) -> None:
    made(tmp_path / "store.duckdb")
    with open_store(tmp_path / "store.duckdb", read_only=True) as store, pytest.raises(duckdb.Error):
        store.execute("create table received.half (a int)")


def test_a_folder_that_cannot_be_written_is_said_plainly(tmp_path: Path) -> None:
    (tmp_path / "a_file").write_bytes(b"")
    with pytest.raises(StoreError, match="cannot be written"), edit_store(tmp_path / "a_file" / "store.duckdb"):
        pass


def test_a_full_disk_leaves_the_last_good_state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "store.duckdb"
    before = made(path)

    def full(*_: object) -> None:
        raise OSError(28, "no space left on device")

    monkeypatch.setattr("shutil.copyfile", full)
    with pytest.raises(StoreError, match="stays as it was"), edit_store(path):
        pass
    assert path.read_bytes() == before and not (tmp_path / "store.duckdb.next").exists()


def test_a_store_file_named_like_a_schema_is_no_trouble(tmp_path: Path) -> None:
    made(tmp_path / "received.duckdb")
    with open_store(tmp_path / "received.duckdb", read_only=True) as store:
        assert store.table("received.files").height == 1


def test_only_a_table_name_is_taken_as_a_table_name() -> None:
    with open_store(":memory:") as store, pytest.raises(StoreError):
        store.table("received.files; drop table received.files")


def test_the_mark_changes_with_any_column(monkeypatch: pytest.MonkeyPatch) -> None:
    before = schema_mark()
    monkeypatch.setitem(BOOKS, "batches", BOOKS["batches"] + ", extra varchar")
    assert schema_mark() != before and len(before) == 12


def test_every_received_table_keeps_its_history() -> None:
    from pipeline.contract import TABLES
    for table in TABLES.values():
        assert "from_batch bigint, to_batch bigint, file varchar, line bigint" in received_table(table)
