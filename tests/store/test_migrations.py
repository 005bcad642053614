"""A store of an earlier version is brought to this one's tables or refused; never misread."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.errors import StoreError
from pipeline.store import edit_store, open_store
from pipeline.store.schema import schema_mark, shape

#: What makes a new store one of an earlier version.
EARLIER = (
    "drop table received.set_aside_rows", "alter table received.files drop column contract_mark",
    "alter table received.tests drop column lung_volume",
    "insert into received.set_aside (batch_id, file, line, table_name) values (1, 'tests.csv', 7, 'tests')",
    "insert into received.tests (client_key, value, unit) values ('kq7mzx2a', 61, 'cmh2o')",
    "update received.store_version set schema_mark = 'abc'",
)


def other_store(path: Path, *more: str) -> bytes:
    with edit_store(path) as store:
        for statement in (*EARLIER, *more):
            store.execute(statement)
    return path.read_bytes()


def test_an_earlier_store_is_migrated_when_it_is_written_and_refused_when_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "store.duckdb"
    other_store(path)
    with pytest.raises(StoreError, match="earlier version"), open_store(path, read_only=True):
        pass
    with edit_store(path) as store:
        assert store.table("received.set_aside_rows").select("line", "cells").rows() == [(7, "{}")]
    with open_store(path, read_only=True) as store, open_store(":memory:") as new:
        assert shape(store) == shape(new)
        assert store.table("received.store_version")["schema_mark"].to_list() == [schema_mark()]
        rows = store.table("received.tests").select("client_key", "value", "unit", "lung_volume").rows()
    assert rows == [("kq7mzx2a", 61.0, "cmh2o", None)]


@pytest.mark.parametrize("more", [
    "alter table received.tests add column flow double", "create table received.visits (a int)",
    "alter table received.tests alter column value type varchar", "drop schema received cascade",
    "insert into received.batches (program_version) values ('99.0')"])
def test_a_store_that_could_be_misread_is_refused_and_stays(tmp_path: Path, more: str) -> None:
    path = tmp_path / "store.duckdb"
    before = other_store(path, more)
    with pytest.raises(StoreError, match="another version"), edit_store(path):
        pass
    assert path.read_bytes() == before
