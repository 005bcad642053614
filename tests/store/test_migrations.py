"""A store of an earlier version is brought to this one's tables or refused; never misread."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.errors import StoreError
from pipeline.store import edit_store, open_store
from pipeline.store.migrations import CURRENT, STEPS
from pipeline.store.schema import schema_mark, shape

#: What undoes the first step, to make a store as the version before it did.
UNDO = (
    "drop table received.set_aside_rows", "alter table received.files drop column is_correction",
    "alter table received.files drop column contract_mark", "alter table received.batches drop column map_text",
)


def old_store(path: Path, mark: str) -> None:
    with edit_store(path) as store:
        for statement in UNDO:
            store.execute(statement)
        store.execute("insert into received.set_aside (batch_id, file, line, table_name) "
                      "values (1, 'tests.csv', 7, 'tests')")
        store.execute("update received.store_version set schema_mark = $mark", {"mark": mark})


def test_an_earlier_store_is_migrated_when_it_is_written_and_refused_when_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "store.duckdb"
    old_store(path, STEPS[0].before)
    with pytest.raises(StoreError, match="earlier version"), open_store(path, read_only=True):
        pass
    with edit_store(path) as store:
        assert store.table("received.set_aside_rows").select("line", "cells").rows() == [(7, "{}")]
    with open_store(path, read_only=True) as store, open_store(":memory:") as new:
        assert shape(store) == shape(new)
        assert store.table("received.store_version")["schema_mark"].to_list() == [schema_mark()]


def test_a_migration_that_does_not_reach_these_tables_leaves_the_store(tmp_path: Path) -> None:
    path = tmp_path / "store.duckdb"
    old_store(path, STEPS[0].before)
    with edit_store(tmp_path / "other.duckdb") as store:
        for statement in (*UNDO, "alter table received.tests drop column value"):
            store.execute(statement)
        store.execute("update received.store_version set schema_mark = $mark", {"mark": STEPS[0].before})
    before = (tmp_path / "other.duckdb").read_bytes()
    with pytest.raises(StoreError, match="another version"), edit_store(tmp_path / "other.duckdb"):
        pass
    assert (tmp_path / "other.duckdb").read_bytes() == before


def test_whoever_changes_a_table_of_received_adds_a_step() -> None:
    assert schema_mark() == CURRENT, "add a step from the old mark to STEPS, and set CURRENT"
