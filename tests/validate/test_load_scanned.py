"""Loading large files: the store is the same, row by row, as by the walk; nothing of the judging stays in it."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import polars as pl
import pytest

from pipeline import ingest
from pipeline.contract import TABLES
from pipeline.errors import FileRefused
from pipeline.ingest.csv_file import read_csv, whole
from pipeline.settings import Settings
from pipeline.store import edit_store, open_store
from pipeline.validate import LoadMeta, check, load, open_rows
from tests.validate.folder import KEY, SOUND, write

SAMPLE = Path(__file__).parents[2] / "sample_data"
META = LoadMeta("2026-01-01T00:00:00", "0.1.0", "{}")
Tables = dict[str, pl.DataFrame]


def loaded(monkeypatch: pytest.MonkeyPatch, path: Path, scan_from_bytes: int, *folders: Path) -> Tables:
    """Load folders one after another; return the received tables and books."""
    monkeypatch.setitem(ingest.READERS, ".csv", partial(read_csv, scan_from_bytes=scan_from_bytes))
    for folder in folders:
        with edit_store(path) as store:
            verdict = check(ingest.read_folder(folder), Settings(set_aside_max_pct=100.0), store)
            load(store, verdict, META)
    with open_store(path, read_only=True) as store:
        names = store.sql("select table_name from duckdb_tables() where database_name = 'rmt' order by 1")["table_name"]
        return {name: store.table(f"received.{name}") for name in names}


def same(walk: Tables, scan: Tables) -> bool:
    return walk.keys() == scan.keys() and all(walk[name].equals(scan[name]) for name in walk)


def test_the_sample_makes_the_same_store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    walk = loaded(monkeypatch, tmp_path / "walk.duckdb", 1 << 60, SAMPLE)
    scan = loaded(monkeypatch, tmp_path / "scan.duckdb", 0, SAMPLE)
    assert same(walk, scan) and walk["sessions"].height > 20_000 and walk["set_aside"].height > 50
    with open_store(tmp_path / "scan.duckdb", read_only=True) as store, open_store(":memory:") as new:
        for name in TABLES:
            columns = f"describe received.{name}"
            assert store.sql(columns).equals(new.sql(columns))


def test_later_files_repeats_and_rows_without_a_slot_make_the_same_store(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second = tmp_path / "first", tmp_path / "second"
    first.mkdir()
    second.mkdir()
    more = [f"{KEY},2025-01-06,am,2,20,5,nrs_0_10", f"{KEY},2025-01-08,am,x,20,5,nrs_0_10"]
    write(first, sessions=[*SOUND["sessions"], *more])
    write(second, sessions=[*SOUND["sessions"][:-1], f"{KEY},2025-01-07,,3,30,7,nrs_0_10",
                            f"{KEY},2025-01-08,am,2,20,5,nrs_0_10"])
    walk = loaded(monkeypatch, tmp_path / "walk.duckdb", 1 << 60, first, second)
    scan = loaded(monkeypatch, tmp_path / "scan.duckdb", 0, first, second)
    assert same(walk, scan) and walk["set_aside"]["to_batch"].to_list() == [2, 2] and walk["sessions"].height == 6


def test_a_large_file_of_corrections_is_one_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first, mended = tmp_path / "first", tmp_path / "mended"
    first.mkdir()
    mended.mkdir()
    write(first, sessions=[*SOUND["sessions"], f"{KEY},2025-01-08,am,x,20,5,nrs_0_10", f"{KEY},2025-01-07,,2,y,6,"])
    loaded(monkeypatch, tmp_path / "aside.duckdb", 0, first)
    with open_store(tmp_path / "aside.duckdb", read_only=True) as store:
        rows = open_rows(store)["sessions"]
    right = {"sets_done": "2", "breaths_done": "20", "effort_rating": None}
    rows.with_columns(pl.lit(text, pl.String).alias(name) for name, text in right.items()).write_csv(
        mended / "sessions.csv")
    walk = loaded(monkeypatch, tmp_path / "walk.duckdb", 1 << 60, first, mended)
    scan = loaded(monkeypatch, tmp_path / "scan.duckdb", 0, first, mended)
    assert same(walk, scan) and walk["set_aside"]["to_batch"].to_list() == [2, 2] and walk["sessions"].height == 6
    assert scan["files"].filter(pl.col("is_correction"))["rows_kept"].to_list() == [2]
    assert scan["sessions"].filter(pl.col("slot").is_null())["ordinal"].sort().to_list() == [1, 2, 3]


def test_a_file_that_changes_while_it_is_walked_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "sessions.csv"
    path.write_text("client_key,session_on\n" + f"{KEY},2025-01-06\n", encoding="utf-8")
    raw = read_csv(path, scan_from_bytes=0)
    path.write_text("client_key,session_on\n" + f"{KEY},2025-01-06\n" * 2, encoding="utf-8")
    with pytest.raises(FileRefused, match="written to while it was read"):
        whole(raw)
