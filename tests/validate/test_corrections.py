"""Rows set aside go out for correction and come back: the history shows both, and no other row is touched."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from pipeline.store import Store, open_store
from pipeline.validate import LoadMeta, LoadSummary, load, open_rows
from tests.validate.folder import KEY, OTHER, SOUND, checked, with_line

META = LoadMeta("2026-01-01T00:00:00", "0.1.0", "{}")
BAD = f"{KEY},2025-01-09,mip,1,Maria 7,cmh2o,"


def loaded(store: Store, folder: Path, **changed: list[str]) -> LoadSummary:
    folder.mkdir(exist_ok=True)
    return load(store, checked(folder, **changed), META)


def corrections(rows: pl.DataFrame, **cells: str) -> list[str]:
    """Return the exported rows as CSV lines, with some cells filled in."""
    filled = rows.with_columns(pl.lit(text).alias(name) for name, text in cells.items())
    return filled.write_csv().splitlines()


def only(table: str, lines: list[str]) -> dict[str, list[str]]:
    return {name: [] for name in SOUND} | {table: lines}


def test_a_corrected_row_closes_its_record_and_both_stand_in_the_history(tmp_path: Path) -> None:
    with open_store(":memory:") as store:
        loaded(store, tmp_path / "a", **with_line("tests", BAD))
        (name, rows), = open_rows(store).items()
        row = rows.row(0, named=True)
        assert (name, row["client_key"], row["value"], row["unit"], row["set_aside_line"]) == (
            "tests", KEY, None, "cmh2o", "6") and "tests.value.number" in row["set_aside_why"]
        summary = loaded(store, tmp_path / "b", **only("tests", corrections(rows, value="59")))
        aside = store.sql("select batch_id, to_batch, line, masked_value from received.set_aside").rows()
        kept = store.sql("select value, from_batch, to_batch from received.tests where tested_on = '2025-01-09'").rows()
        assert open_rows(store) == {}
    assert summary.changed and aside == [(1, 2, 6, "Aaaaa 9 (7 characters)")] and kept == [(59.0, 2, None)]


def test_a_correction_that_is_faulty_again_is_set_aside_once(tmp_path: Path) -> None:
    with open_store(":memory:") as store:
        loaded(store, tmp_path / "a", **with_line("tests", BAD))
        rows = open_rows(store)["tests"]
        loaded(store, tmp_path / "b", **only("tests", corrections(rows, value="5x")))
        aside = store.sql("select batch_id, to_batch, line from received.set_aside order by batch_id").rows()
        (again,) = open_rows(store)["tests"].select("set_aside_batch", "set_aside_line").rows()
    assert aside == [(1, 2, 6), (2, None, 2)] and again == ("2", "2")


def test_a_conflict_is_closed_by_the_row_that_is_right(tmp_path: Path) -> None:
    twice = [*SOUND["clients"], f"{KEY},male,61"]
    with open_store(":memory:") as store:
        loaded(store, tmp_path / "a", clients=twice)
        rows = open_rows(store)["clients"]
        assert rows.height == 2 and rows["sex"].to_list() == ["female", "male"]
        loaded(store, tmp_path / "b", **only("clients", corrections(rows.head(1))))
        sexes = store.sql("select client_key, sex from received.clients order by 1").rows()
        assert open_rows(store) == {} and sexes == [(KEY, "female"), (OTHER, "male")]


def test_a_corrected_session_without_a_slot_replaces_no_other(tmp_path: Path) -> None:
    bad = f"{KEY},2025-01-07,,2,x,6,nrs_0_10"
    with open_store(":memory:") as store:
        loaded(store, tmp_path / "a", **with_line("sessions", bad))
        rows = open_rows(store)["sessions"]
        loaded(store, tmp_path / "b", **only("sessions", corrections(rows, breaths_done="31")))
        found = store.sql("select breaths_done, ordinal from received.sessions where slot is null "
                          "and to_batch is null order by ordinal").rows()
    assert found == [(20, 1), (20, 2), (31, 3)]


def test_the_first_files_again_after_corrections_change_nothing(tmp_path: Path) -> None:
    with open_store(":memory:") as store:
        loaded(store, tmp_path / "a", **with_line("tests", BAD))
        rows = open_rows(store)["tests"]
        loaded(store, tmp_path / "b", **only("tests", corrections(rows, value="59")))
        again = loaded(store, tmp_path / "a", **with_line("tests", BAD))
        twice = loaded(store, tmp_path / "b", **only("tests", corrections(rows, value="59")))
    assert not again.changed and not twice.changed
