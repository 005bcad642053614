"""`--only-sums` as a command: what is written and what is not, what breaks off, and the way back to whole tables."""

from __future__ import annotations

import hashlib
from pathlib import Path

import polars as pl
import pytest
from click.testing import CliRunner, Result

from pipeline.cli import main
from pipeline.derive_sums import AtEngine
from pipeline.errors import EngineError
from pipeline.store import edit_store, open_store
from tests.some_people import every, write


def command(*words: str) -> Result:
    return CliRunner().invoke(main, [*words])


def tables(out: Path) -> set[str]:
    with open_store(out / "store.duckdb", read_only=True) as store:
        return set(store.sql("select table_schema || '.' || table_name as name from information_schema.tables "
                             "where table_schema in ('settled', 'quantities', 'frames', 'must_be_empty')")["name"])


def mark(out: Path) -> str:
    return hashlib.sha256((out / "store.duckdb").read_bytes()).hexdigest()


@pytest.mark.parametrize(("words", "said"), [
    (("review", "{folder}", "--only-sums"), "--only-sums goes with --engine"),
    (("derive", "--only-sums"), "--only-sums goes with --engine"),
    (("derive", "--only-sums", "--engine", "duckdb"), "--only-sums goes with --engine"),
    (("derive", "--engine", "slices", "--quarter", "2026Q3"), "--quarter goes with --only-sums"),
])
def test_words_that_do_not_go_together_are_wrong_usage(words: tuple[str, ...], said: str, tmp_path: Path) -> None:
    found = command(*(w.format(folder=tmp_path) for w in words), "--out", str(tmp_path / "out"))
    assert found.exit_code == 2 and said in found.output
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(("quarter", "policy", "said"), [
    ([], "relative", "sums do not tell which to report"),
    (["--quarter", "2026Q3"], "relative", "--quarter names another kind of quarter"),
    (["--quarter", "block-003"], "limited", "--quarter names another kind of quarter"),
])
def test_a_quarter_that_cannot_be_told_is_refused_before_a_table_is_made(
    quarter: list[str], policy: str, said: str, tmp_path: Path
) -> None:
    settings, out = tmp_path / "settings.toml", tmp_path / "out"
    settings.write_text(f'date_policy = "{policy}"\n', encoding="utf-8")
    out.mkdir()
    with edit_store(out / "store.duckdb"):
        pass
    found = command("derive", "--out", str(out), "--settings", str(settings), "--engine", "slices:1", "--only-sums",
                    *quarter)
    assert found.exit_code == 2 and said in found.output, found.output
    assert not (out / "tables").exists()


@pytest.mark.slow
def test_a_review_from_sums_and_the_way_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder, out = write(every(2), tmp_path / "in"), tmp_path / "out"
    done = command("review", str(folder), "--out", str(out), "--engine", "slices:2", "--only-sums")
    assert done.exit_code == 0, done.output
    assert "No table of rows came back" in done.output
    assert sorted(p.relative_to(out).as_posix() for p in out.rglob("*.html")) == [
        "shared/index.html", "shared/protocols.html"]
    assert tables(out) == {"settled.span"} and not (out / "tables").exists()
    shared = "".join(p.read_text(encoding="utf-8") for p in (out / "shared").iterdir())
    keys = pl.read_csv(folder / "clients.csv", infer_schema=False)["client_key"].drop_nulls().to_list()
    assert len(keys) > 100 and not [k for k in keys if k in shared]

    lost = command("analyse", "--out", str(out))
    assert lost.exit_code != 0 and "the store holds sums only" in lost.output and "Traceback" not in lost.output
    before = mark(out)

    def broken(at: AtEngine, sql: str) -> pl.DataFrame:
        raise EngineError("the engine does not answer any more", where="here", now="start it again")

    with monkeypatch.context() as patch:
        patch.setattr(AtEngine, "ask", broken)
        failed = command("derive", "--out", str(out), "--engine", "slices:2", "--only-sums", "--quarter", "2026Q2")
    assert failed.exit_code == 1 and "does not answer any more" in failed.output
    assert mark(out) == before and (out / "tables").is_dir()
    again = command("derive", "--out", str(out), "--engine", "slices:2", "--only-sums", "--quarter", "2026Q2")
    assert again.exit_code == 0 and "results for 2026Q2" in again.output and "went on from" in again.output

    assert command("derive", "--out", str(out)).exit_code == 0
    assert command("analyse", "--out", str(out)).exit_code == 0
    assert {"frames.model", "frames.courses"} <= tables(out)
