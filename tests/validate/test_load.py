from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from pipeline.errors import FileRefused
from pipeline.store import Store, open_store
from pipeline.validate import LoadMeta, LoadSummary, load
from tests.validate.folder import KEY, OTHER, SOUND, checked, with_line

META = LoadMeta("2026-01-01T00:00:00", "0.1.0", "{}")


def loaded(store: Store, folder: Path, **changed: list[str]) -> LoadSummary:
    return load(store, checked(folder, **changed), META)


def counts(summary: LoadSummary, table: str) -> tuple[int, int, int, int]:
    (f,) = (f for f in summary.files if f.table == table)
    assert f.rows_kept + f.rows_set_aside + f.rows_unchanged == f.rows_read
    return f.rows_read, f.rows_kept, f.rows_set_aside, f.rows_unchanged


def test_a_first_load_keeps_rows_with_batch_file_and_line(tmp_path: Path) -> None:
    with open_store(":memory:") as store:
        summary = loaded(store, tmp_path, **with_line("tests", f"{KEY},2025-01-09,mip,1,x,cmh2o,"))
        rows = store.sql("select value, from_batch, to_batch, file, line from received.tests order by line").rows()
        aside = store.sql("select batch_id, to_batch, line, rule from received.set_aside").rows()
    assert summary.changed and summary.batch_id == 1 and counts(summary, "tests") == (5, 4, 1, 0)
    assert rows[0] == (61.0, 1, None, "tests.csv", 2) and len(rows) == 4
    assert aside == [(1, None, 6, "tests.value.number")]


def test_the_same_files_again_change_nothing_and_say_so(tmp_path: Path) -> None:
    with open_store(":memory:") as store:
        loaded(store, tmp_path)
        before = {n: store.table(f"received.{n}") for n in ("tests", "batches", "files", "set_aside")}
        store.has_changed = False
        again = loaded(store, tmp_path)
        assert not store.has_changed and not again.changed and again.batch_id == 1
        assert counts(again, "tests") == (4, 0, 0, 4)
        assert all(store.table(f"received.{n}").equals(frame) for n, frame in before.items())


def test_a_correction_closes_the_old_row_and_unchanged_rows_are_counted(tmp_path: Path) -> None:
    corrected = [line.replace(",61,", ",71,") for line in SOUND["tests"]]
    with open_store(":memory:") as store:
        loaded(store, tmp_path)
        summary = loaded(store, tmp_path, tests=[*corrected, f"{OTHER},2025-03-03,mip,1,50,cmh2o,"])
        history = store.sql("select value, from_batch, to_batch from received.tests where effort_no = 1 "
                            f"and client_key = '{KEY}' order by from_batch").rows()
    assert counts(summary, "tests") == (5, 2, 0, 3) and counts(summary, "clients") == (2, 0, 0, 2)
    assert history == [(61.0, 1, 2), (71.0, 2, None)]


def test_a_file_of_later_rows_alone_adds_them_and_closes_none(tmp_path: Path) -> None:
    with open_store(":memory:") as store:
        loaded(store, tmp_path, **with_line("tests", f"{KEY},2025-01-09,mip,1,x,cmh2o,"))
        loaded(store, tmp_path, tests=[SOUND["tests"][0], f"{OTHER},2025-03-03,mip,1,50,cmh2o,"])
        current = store.sql("select count(*) as n from received.tests where to_batch is null")["n"][0]
        standing = store.sql("select to_batch from received.set_aside")["to_batch"].to_list()
    assert current == 5 and standing == [None]


def test_a_complete_new_export_replaces_the_earlier_set_aside_rows(tmp_path: Path) -> None:
    with open_store(":memory:") as store:
        loaded(store, tmp_path, **with_line("tests", f"{KEY},2025-01-09,mip,1,x,cmh2o,"))
        loaded(store, tmp_path, **with_line("tests", f"{KEY},2025-01-09,mip,1,59,cmh2o,"))
        aside = store.sql("select batch_id, to_batch from received.set_aside").rows()
    assert aside == [(1, 2)]


def test_an_empty_slot_is_matched_by_its_place(tmp_path: Path) -> None:
    changed = [*SOUND["sessions"][:-1], f"{KEY},2025-01-07,,3,30,7,nrs_0_10"]
    with open_store(":memory:") as store:
        loaded(store, tmp_path)
        summary = loaded(store, tmp_path, sessions=changed)
        rows = store.sql("select breaths_done, from_batch, to_batch from received.sessions where slot is null "
                         "order by from_batch, line").rows()
    assert counts(summary, "sessions") == (4, 1, 0, 3)
    assert rows == [(20, 1, None), (20, 1, 2), (30, 2, None)]


def test_a_needed_table_that_is_nowhere_is_refused_and_the_store_stays(tmp_path: Path) -> None:
    with open_store(":memory:") as store:
        with pytest.raises(FileRefused, match="no file for clients"):
            loaded(store, tmp_path, clients=[])
        assert store.table("received.batches").is_empty()


def test_a_fault_in_the_middle_rolls_everything_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = Store.insert

    def failing(store: Store, table: str, frame: pl.DataFrame) -> None:
        if table == "received.batches":
            raise RuntimeError
        real(store, table, frame)

    with open_store(":memory:") as store:
        monkeypatch.setattr(Store, "insert", failing)
        with pytest.raises(RuntimeError):
            loaded(store, tmp_path)
        assert store.table("received.tests").is_empty() and store.table("received.files").is_empty()


def test_parquet_gives_the_same_store_as_csv(tmp_path: Path) -> None:
    by_format = []
    for suffix in ("csv", "parquet"):
        folder = tmp_path / suffix
        folder.mkdir()
        verdict = checked(folder)
        if suffix == "parquet":
            for path in list(folder.glob("*.csv")):
                pl.read_csv(path).write_parquet(path.with_suffix(".parquet"))
                path.unlink()
            from pipeline.ingest import read_folder
            from pipeline.settings import Settings
            from pipeline.validate import check
            verdict = check(read_folder(folder), Settings())
        with open_store(":memory:") as store:
            load(store, verdict, META)
            by_format.append([store.table(f"received.{t}").drop("file") for t in SOUND])
    assert all(a.equals(b) for a, b in zip(*by_format, strict=True))
