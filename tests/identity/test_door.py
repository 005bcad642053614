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
    assert "episodes have no to_on" in said and not (folders / "none").exists()


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
