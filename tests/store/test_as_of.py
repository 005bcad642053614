"""What was derived after an earlier load can be derived again, table by table, whatever was loaded since."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from pipeline.derive import FOLDERS, derive
from pipeline.settings import Settings
from pipeline.store import Store, open_store
from pipeline.validate import LoadMeta, load, open_rows
from tests.validate.folder import KEY, SOUND, checked, with_line

META = LoadMeta("2026-01-01T00:00:00", "0.1.0", "{}")


def derived(store: Store, batch: int | None = None) -> dict[str, pl.DataFrame]:
    derive(store, Settings(), as_of_batch=batch)
    names = store.sql("select schema_name || '.' || table_name as name from duckdb_tables() "
                      "where database_name = 'rmt' "
                      f"and schema_name in {(*FOLDERS, 'reference', 'settings')} order by 1")["name"]
    return {name: store.table(name) for name in names}


def loaded(store: Store, folder: Path, **changed: list[str]) -> None:
    folder.mkdir()
    load(store, checked(folder, **changed), META)


def test_an_earlier_state_is_derived_again_after_changes_additions_and_corrections(tmp_path: Path) -> None:
    with open_store(":memory:") as store:
        loaded(store, tmp_path / "a", **with_line("tests", f"{KEY},2025-01-09,mip,1,x,cmh2o,"))
        first = derived(store)
        rows = open_rows(store)["tests"].with_columns(value=pl.lit("59"))
        loaded(store, tmp_path / "b", tests=[line.replace(",64.5,", ",74.5,") for line in SOUND["tests"]],
               sessions=[*SOUND["sessions"], f"{KEY},2025-01-08,am,2,30,6,nrs_0_10"])
        nothing = {name: list[str]() for name in SOUND}
        loaded(store, tmp_path / "c", **nothing | {"tests": rows.write_csv().splitlines()})
        last, again = derived(store), derived(store, 1)
    assert first.keys() == again.keys() and all(first[name].equals(again[name]) for name in first)
    changed = {name for name in first if not first[name].equals(last[name])}
    assert {"settled.sessions", "quantities.test_days", "frames.set_aside", "settled.files"} <= changed
