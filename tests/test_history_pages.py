"""A review, a correction, a second review: the first is rebuilt byte for byte, until a person is erased from both."""

from __future__ import annotations

import gzip
import io
import shutil
import zipfile
from pathlib import Path

import duckdb
import polars as pl
import pytest
from click.testing import CliRunner

from pipeline import stages_forget
from pipeline.cli import main
from pipeline.store import open_store
from tests.some_people import every, tables_of, write

pytestmark = pytest.mark.slow

EDITIONS = ("internal", "shared")
PEOPLE = 80


def run(*words: object, code: int = 0) -> str:
    told = CliRunner().invoke(main, [str(w) for w in words])
    assert told.exit_code == code, told.output
    return told.output


def pages(folder: Path) -> dict[str, bytes]:
    return {f"{e}/{p.name}": p.read_bytes() for e in EDITIONS for p in sorted((folder / e).iterdir())}


def some_people(folder: Path) -> str:
    """Write the sample's rows of some people; give the key of one with a long open pause, whose test is spoilt."""
    whole = every(1)
    key = str(whole["pauses"].filter(pl.col("to_on").is_null()).sort("from_on")["client_key"][0])
    tables = tables_of([*whole["episodes"]["client_key"].drop_nulls().unique().sort().head(PEOPLE), key])
    tests = tables["tests"].with_row_index("place")
    spoilt = int(tests.filter((pl.col("client_key") == key) & (pl.col("effort_no") == "2"))["place"][-1])
    tables["tests"] = tests.with_columns(
        value=pl.when(pl.col("place") == spoilt).then(pl.lit("sixty")).otherwise("value")).drop("place")
    write(tables, folder)
    return key


@pytest.fixture(scope="module")
def history(tmp_path_factory: pytest.TempPathFactory):
    """(output folder after both reviews, the pages of the first, a key of which a row was set aside and corrected)."""
    base = tmp_path_factory.mktemp("history")
    out, key = base / "out", some_people(base / "first")
    lenient = base / "settings.toml"
    lenient.write_text("set_aside_max_pct = 100.0\nsmall_cell_max = 0\n")  # of so few people all would be hidden
    run("review", base / "first", "--out", out, "--settings", lenient)
    first = pages(out)
    run("set-aside", out / "to_correct", "--out", out)
    shutil.copytree(out / "to_correct", base / "corrected")
    for path in (base / "corrected").glob("*.csv"):
        if path.stem != "tests":
            path.unlink()
    rows = pl.read_csv(base / "corrected" / "tests.csv", infer_schema=False)
    mended = pl.when(pl.col("client_key") == key).then(pl.lit("59")).otherwise(pl.col("value")).alias("value")
    rows.with_columns(mended).write_csv(base / "corrected" / "tests.csv")
    run("review", base / "corrected", "--out", out, "--settings", lenient)
    assert pages(out) != first
    return out, first, key


@pytest.fixture(scope="module")
def rebuilt(history) -> Path:
    out, _, _ = history
    run("review", "--as-of", 1, "--out", out)
    return out / "as_of_1"


def test_an_earlier_review_is_rebuilt_byte_for_byte_in_both_editions(history, rebuilt: Path) -> None:
    _, first, _ = history
    again = pages(rebuilt)
    assert again.keys() == first.keys() and len(first) > 10
    assert [name for name in first if again[name] != first[name]] == []


def test_a_review_of_an_earlier_quarter_written_since_does_not_come_in(history, tmp_path: Path) -> None:
    """It was not there when the first review was written."""
    out, first, _ = history
    shutil.copytree(out, tmp_path / "out")
    quarter = first["internal/results.json"].split(b'"quarter": "')[1][:6].decode()
    with open_store(tmp_path / "out" / "store.duckdb") as store:
        for table in ("reviews", "published"):
            store.execute(f"insert into results.{table} select * replace (review_no + 10 as review_no, '2020Q1' as "
                          f"quarter) from results.{table} where review_no = 1")
    run("review", "--as-of", 1, "--out", tmp_path / "out", "--quarter", quarter)
    again = pages(tmp_path / "out" / "as_of_1")
    assert [name for name in first if again[name] != first[name]] == []


def found(path: Path, key: str) -> bool:
    """Search a file for the key: its bytes, and what it holds packed (written apart from the program's own search)."""
    data = path.read_bytes()
    if key.encode() in data or key.encode("utf-16-le") in data or key in path.name:
        return True
    if path.suffix == ".duckdb":
        with duckdb.connect(str(path), read_only=True) as database:
            tables = database.sql("select schema_name || '.' || table_name from duckdb_tables()").fetchall()
            return any(key in str(database.sql(f"select * from {name}").fetchall()) for (name,) in tables)
    if path.suffix == ".parquet":
        return key in str(pl.read_parquet(path).to_dicts())
    if path.suffix in (".zip", ".xlsx"):
        with zipfile.ZipFile(path) as box:
            return any(key.encode() in box.read(name) for name in box.namelist())
    return path.suffix == ".gz" and key.encode() in gzip.decompress(data)


def where(out: Path, key: str) -> set[str]:
    return {p.relative_to(out).as_posix() for p in out.rglob("*") if p.is_file() and found(p, key)}


@pytest.fixture(scope="module")
def forgotten(history, rebuilt: Path, tmp_path_factory: pytest.TempPathFactory):
    """(folder, key, where the key stood before, what was said)."""
    source, _, key = history
    out = tmp_path_factory.mktemp("forgotten") / "out"
    shutil.copytree(source, out)
    (out / "export").mkdir()
    (out / "export" / "README.txt").write_text("rows of everybody, numbered anew")
    with zipfile.ZipFile(out / "shared.zip", "w") as packed:
        packed.writestr("shared/quarter.html", "figures of everybody")
    before = where(out, key)
    return out, key, before, run("forget", key, "--out", out)


def test_the_key_stood_everywhere_before(forgotten) -> None:
    _, _, before, _ = forgotten
    assert {"store.duckdb", "to_correct/tests.csv", "internal/stalled.html", "internal/fix_list.html",
            "internal/results.json", "as_of_1/internal/results.json"} <= before


def test_no_byte_of_the_key_is_left_anywhere(forgotten) -> None:
    out, key, _, said = forgotten
    assert where(out, key) == set() and key not in said
    assert not (out / "as_of_1").exists() and not (out / "export").exists() and not (out / "shared.zip").exists()


def test_the_pages_were_made_again_and_the_history_of_the_others_stays(forgotten, history) -> None:
    out, key, _, _ = forgotten
    assert pages(out).keys() == pages(history[0]).keys()
    with open_store(out / "store.duckdb", read_only=True) as new, open_store(
            history[0] / "store.duckdb", read_only=True) as old:
        for table in ("received.tests", "received.clients", "received.sessions"):
            mine = old.sql(f"select * from {table} where client_key <> $key order by all", {"key": key})
            assert new.table(table).equals(mine) and mine.height > 50
        kept = new.sql("select review_no, count(*) as n from results.published where klass = 'client' group by all")
        was = old.sql("select review_no, count(*) as n from results.published where klass = 'client' group by all")
        assert kept["n"].sum() < was["n"].sum() and set(was["review_no"]) <= set(kept["review_no"])


def test_the_files_out_for_correction_keep_everybody_else(forgotten, history) -> None:
    out, key, _, _ = forgotten
    for path in (history[0] / "to_correct").glob("*.csv"):
        rows = [line for line in path.read_text().splitlines(keepends=True) if key not in line]
        left = out / "to_correct" / path.name
        assert (left.read_text() if left.exists() else rows[0]) == "".join(rows)


def test_an_earlier_review_says_why_it_cannot_be_rebuilt(forgotten, history) -> None:
    out, key, _, _ = forgotten
    said = run("review", "--as-of", 1, "--out", out)
    assert "cannot be rebuilt byte for byte" in said and key not in said
    assert where(out, key) == set() and pages(out / "as_of_1") != history[1]


def test_files_of_others_are_searched_inside_and_named(forgotten, history, tmp_path: Path) -> None:
    source, _, key = history
    out = tmp_path / "out"
    out.mkdir()
    shutil.copy(source / "store.duckdb", out / "store.duckdb")
    mine = pl.DataFrame({"who": [key] * 2000})
    mine.write_parquet(out / "rows.parquet")
    with zipfile.ZipFile(out / "mail.zip", "w", zipfile.ZIP_DEFLATED) as box:
        inner = io.BytesIO()
        with zipfile.ZipFile(inner, "w", zipfile.ZIP_DEFLATED) as deeper:
            deeper.writestr("letter.txt", f"about {key} " * 50)
        box.writestr("inner.zip", inner.getvalue())
    (out / "list.csv.gz").write_bytes(gzip.compress(f"who\n{key}\n".encode()))
    (out / "wide.txt").write_bytes(f"about {key}".encode("utf-16"))
    (out / f"{key}.txt").write_text("nothing")
    shutil.copy(source / "store.duckdb", out / "backup.duckdb")
    (out / "broken.gz").write_bytes(b"\x1f\x8b" + b"no gzip")
    said = run("forget", key, "--out", out, "--store-only", code=1)
    named = {"rows.parquet", "mail.zip", "list.csv.gz", "wide.txt", "(the key).txt", "backup.duckdb"}
    assert all(name in said for name in named) and "6 files" in said and key not in said


def test_a_run_that_was_broken_off_is_finished_by_the_next(history, tmp_path: Path,
                                                           monkeypatch: pytest.MonkeyPatch) -> None:
    source, _, key = history
    out = tmp_path / "out"
    shutil.copytree(source, out)

    def broken(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(stages_forget, "_erase", broken)
    run("forget", key, "--out", out, "--store-only", code=130)
    monkeypatch.undo()
    run("forget", key, "--out", out, "--store-only")
    assert where(out, key) == set()
    assert "nobody in this store" in run("forget", key, "--out", out, code=1)


def test_a_longer_key_of_somebody_else_stays_whole(history, tmp_path: Path) -> None:
    source, _, key = history
    out, longer = tmp_path / "out", f"{key}-9"
    out.mkdir()
    shutil.copy(source / "store.duckdb", out / "store.duckdb")
    with open_store(out / "store.duckdb") as store:
        other = str(store.sql("select min(client_key) as k from received.clients where client_key <> $k",
                              {"k": key})["k"][0])
        for table, column in (("clients", "client_key"), ("tests", "client_key"), ("set_aside", "client_key_ok")):
            store.execute(f"update received.{table} set {column} = $new where {column} = $old",
                          {"new": longer, "old": other})
        store.execute("update received.set_aside_rows set cells = replace(cells, $old, $new)",
                      {"new": longer, "old": other})
        n = store.sql("select count(*) as n from received.tests where client_key = $k", {"k": longer})["n"][0]
    run("forget", key, "--out", out, "--store-only")
    with open_store(out / "store.duckdb", read_only=True) as store:
        left = store.sql("select distinct client_key as k from received.tests where contains(client_key, $k)",
                         {"k": key})["k"].to_list()
        assert left == [longer] and n == store.sql(
            "select count(*) as n from received.tests where client_key = $k", {"k": longer})["n"][0] > 0
