"""Consent withdrawn: one person of the reviewed sample is erased, and every byte below the folder is searched."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipeline.cli import main
from pipeline.stages import Summary
from pipeline.stages_history import _say_erased
from pipeline.store import open_store

TABLES = ("clients", "episodes", "sessions", "tests", "set_aside")


def all_bytes(folder: Path) -> bytes:
    return b"".join(p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file())


def counts(out: Path) -> dict[str, int]:
    with open_store(out / "store.duckdb", read_only=True) as store:
        return {t: int(store.sql(f"select count(*) as n from received.{t}")["n"][0]) for t in TABLES}


@pytest.fixture(scope="module")
def forgotten(sample_review, tmp_path_factory: pytest.TempPathFactory):
    """(folder, key, what was said, counts before, rows of the person): the pages name the key, as does an as-of."""
    source, _ = sample_review
    out = tmp_path_factory.mktemp("forget") / "out"
    shutil.copytree(source, out)
    with open_store(out / "store.duckdb", read_only=True) as store:
        key = str(
            store.sql(
                "select client_key_ok as k from received.set_aside join received.sessions on client_key = "
                "client_key_ok order by k limit 1"
            )["k"][0]
        )
        own = {
            t: int(store.sql(f"select count(*) as n from received.{t} where client_key = $k", {"k": key})["n"][0])
            for t in TABLES
            if t != "set_aside"
        }
    (out / "as_of_1").mkdir()
    (out / "as_of_1" / "stalled.csv").write_text(key)
    assert key.encode() in all_bytes(out / "internal")
    before = counts(out)
    shown = CliRunner().invoke(main, ["forget", key, "--out", str(out), "--store-only"])
    assert shown.exit_code == 0, shown.output
    return out, key, shown.output, before, own


def test_no_byte_of_the_key_is_left_and_none_is_said(forgotten) -> None:
    out, key, said, _, _ = forgotten
    left = all_bytes(out)
    assert key.encode() not in left and key.encode("utf-16-le") not in left and key not in said


def test_everybody_else_stays(forgotten) -> None:
    out, _, _, before, own = forgotten
    after = counts(out)
    assert {t: before[t] - after[t] for t in own} == own and own["sessions"] > 0 and own["tests"] > 0
    assert after["set_aside"] < before["set_aside"]


def test_the_batch_says_that_a_person_was_erased_and_not_who(forgotten) -> None:
    out, key, _, _, _ = forgotten
    summary = Summary("review")
    _say_erased(out, 1, summary)
    assert "cannot be rebuilt byte for byte" in summary.faults[0] and key not in summary.faults[0]


def test_a_store_without_erasure_says_nothing(sample_review) -> None:
    summary = Summary("review")
    _say_erased(sample_review[0], 1, summary)
    assert summary.faults == []


def test_a_stranger_changes_nothing_and_is_not_repeated(forgotten) -> None:
    out, _, _, _, _ = forgotten
    before = all_bytes(out)
    shown = CliRunner().invoke(main, ["forget", "zzzzzzzzzzzz", "--out", str(out)])
    assert shown.exit_code == 1 and "zzzz" not in shown.output and all_bytes(out) == before


def test_a_file_of_somebody_else_that_holds_the_key_is_named(forgotten, tmp_path: Path) -> None:
    out, _, _, _, _ = forgotten
    place = tmp_path / "out"
    shutil.copytree(out, place)
    with open_store(place / "store.duckdb", read_only=True) as store:
        key = str(store.sql("select min(client_key) as k from received.sessions")["k"][0])
    (place / "letter.txt").write_text(f"about {key}")
    shown = CliRunner().invoke(main, ["forget", key, "--out", str(place)])
    assert shown.exit_code == 1 and "letter.txt" in shown.output and key not in shown.output
