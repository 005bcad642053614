"""Between reading and judging: ages over 90, and the two date policies, on files and a store."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest
from click.testing import CliRunner

from pipeline.cli import main
from pipeline.store import open_store

SAMPLE = Path(__file__).parents[2] / "sample_data"
TABLES = ("clients", "episodes", "prescriptions", "sessions", "tests", "pauses", "events")


def run(*words: object, code: int = 0) -> str:
    shown = CliRunner().invoke(main, [str(w) for w in words])
    assert shown.exit_code == code, shown.output
    return shown.output


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """`dated`: 30 clean clients of the sample. `told`: the same by offsets. Settings files for both policies."""
    place = tmp_path_factory.mktemp("door")
    clients = pl.read_csv(SAMPLE / "clients.csv", infer_schema=False)
    few = clients.filter(pl.col("client_key").is_unique() & pl.col("age_years").str.contains("^[0-9]{2}$")).head(30)
    (place / "dated").mkdir()
    for name in TABLES:
        rows = pl.read_csv(SAMPLE / f"{name}.csv", infer_schema=False)
        rows.filter(pl.col("client_key").is_in(few["client_key"].implode())).write_csv(place / "dated" / f"{name}.csv")
    for policy in ("limited", "relative"):
        (place / f"{policy}.toml").write_text(f'date_policy = "{policy}"\nset_aside_max_pct = 100.0\n')
    run("surrogate", place / "dated", "--crosswalk", place / "who.jsonl", "--out", place / "told", "--offsets")
    return place


def load(folders: Path, files: str, policy: str, out: str, code: int = 0) -> str:
    return run("load", folders / files, "--out", folders / out, "--settings", folders / f"{policy}.toml", code=code)


def test_a_calendar_date_is_refused_under_relative(folders: Path) -> None:
    said = load(folders, "dated", "relative", "none", code=4)
    assert "sessions.csv: refused: column 2 (session_on) holds calendar dates" in said and "2025" not in said
    assert not (folders / "none").exists()


def test_offsets_give_the_same_weeks_as_dates(folders: Path) -> None:
    kept = {}
    for files, policy in (("dated", "limited"), ("told", "relative")):
        load(folders, files, policy, policy)
        run("derive", "--out", folders / policy, "--settings", folders / f"{policy}.toml")
        with open_store(folders / policy / "store.duckdb", read_only=True) as store:
            kept[policy] = store.sql("select week, pressure, best_cmh2o from quantities.test_days order by all")
            days = store.sql("select min(session_on) as d, max(session_on) as u from received.sessions")
    assert kept["limited"].height > 50 and kept["limited"].equals(kept["relative"])
    assert days["d"][0].year <= 2000 and days["u"][0].year < 2010


def test_one_store_keeps_one_policy(folders: Path) -> None:
    load(folders, "dated", "limited", "mixed")
    assert "filled under date_policy limited" in load(folders, "told", "relative", "mixed", code=2)
    said = run("derive", "--out", folders / "mixed", "--settings", folders / "relative.toml", code=2)
    assert "filled under date_policy limited" in said


def test_a_table_about_nobody_is_left_out_and_said_and_its_dates_are_refused(folders: Path, tmp_path: Path) -> None:
    for path in (folders / "told").iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    event = "instrument,site,event_on,what\ngauge-1,harbour,{},calibrated\n"
    (tmp_path / "instruments.csv").write_text(event.format("2025-03-01"))
    said = run("load", tmp_path, "--out", tmp_path / "out", "--settings", folders / "relative.toml", code=4)
    assert "leave this file out" in said and "2025" not in said
    (tmp_path / "instruments.csv").write_text(event.format("12"))
    said = run("load", tmp_path, "--out", tmp_path / "out", "--settings", folders / "relative.toml")
    assert "instruments.csv: left out, 1 rows" in said and "would tie their starts together" in " ".join(said.split())
    with open_store(tmp_path / "out" / "store.duckdb", read_only=True) as store:
        assert store.table("received.instruments").is_empty()
        assert store.table("received.batches")["loaded_at"][0].isdecimal()  # a year, and no day


def test_rows_set_aside_go_out_and_come_back_as_offsets(folders: Path, tmp_path: Path) -> None:
    (tmp_path / "told").mkdir()
    for path in (folders / "told").iterdir():
        (tmp_path / "told" / path.name).write_bytes(path.read_bytes())
    tests = pl.read_csv(folders / "told" / "tests.csv", infer_schema=False).with_row_index("no")
    spoilt = tests.with_columns(
        pressure=pl.when(pl.col("no") == 3).then(pl.lit("mxp")).otherwise("pressure"),
        tested_on=pl.when(pl.col("no") == 5).then(pl.lit("soon")).otherwise("tested_on"))
    spoilt.drop("no").write_csv(tmp_path / "told" / "tests.csv")
    words = ("--out", tmp_path / "out", "--settings", folders / "relative.toml")
    assert "expected a whole number of days from the client's own start" in " ".join(
        run("check", tmp_path / "told", "--settings", folders / "relative.toml", code=7).split())
    run("load", tmp_path / "told", *words)
    run("set-aside", tmp_path / "mend", "--out", tmp_path / "out")
    out = pl.read_csv(tmp_path / "mend" / "tests.csv", infer_schema=False)
    mine = pl.col("set_aside_line").is_in(["5", "7"])
    back = out.filter(mine).sort("set_aside_line")
    assert back["tested_on"].to_list() == [tests["tested_on"][3], None]
    back = back.with_columns(pressure=pl.Series([tests["pressure"][3], tests["pressure"][5]]),
                             tested_on=pl.Series([tests["tested_on"][3], tests["tested_on"][5]]))
    (tmp_path / "mended").mkdir()
    back.write_csv(tmp_path / "mended" / "tests.csv")
    run("load", tmp_path / "mended", *words)
    with open_store(tmp_path / "out" / "store.duckdb", read_only=True) as store:
        open_now = store.sql("select line from received.set_aside where to_batch is null and table_name = 'tests'")
    assert not {5, 7} & set(open_now["line"])


def test_a_calendar_day_in_the_settings_is_refused_under_relative(folders: Path, tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text('date_policy = "relative"\ndata_until_on = "2026-09-30"\n')
    assert "is a calendar day" in run("check", folders / "told", "--settings", tmp_path / "s.toml", code=2)


def test_an_unknown_policy_is_refused(folders: Path, tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text('date_policy = "none"\n')
    assert "limited or relative" in run("check", folders / "dated", "--settings", tmp_path / "s.toml", code=2)


def test_ages_over_90_are_stored_as_90_and_said(folders: Path, tmp_path: Path) -> None:
    clients = pl.read_csv(folders / "dated" / "clients.csv", infer_schema=False)
    for path in (folders / "dated").iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    older = pl.when(pl.int_range(pl.len()) < 2).then(pl.lit("97")).otherwise(pl.col("age_years"))
    clients.with_columns(age_years=older).write_csv(tmp_path / "clients.csv")
    said = run("load", tmp_path, "--out", tmp_path / "out", "--settings", folders / "limited.toml")
    with open_store(tmp_path / "out" / "store.duckdb", read_only=True) as store:
        told = store.sql(
            "select max(age_years) as top, count(*) filter (where age_years = 90) as n from received.clients"
        )
    assert "2 ages over 90 became 90" in said and told.rows() == [(90, 2)]
