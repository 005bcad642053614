"""A store of sums alone: how each command but `report` ends."""

from __future__ import annotations

import shutil
import zipfile
from pathlib import Path

import pytest

from pipeline.store import open_store
from tests.only_sums import Made, made_of, run
from tests.test_review import files_of


@pytest.fixture(scope="module")
def made(sample_review, tmp_path_factory: pytest.TempPathFactory) -> Made:
    """The sample's review; then its store is left with sums alone and the pages are made again."""
    return made_of(sample_review[0], tmp_path_factory.mktemp("sums") / "out")


@pytest.mark.parametrize("words", [
    ("analyse",), ("analyse", "--cross-check"), ("analyse", "--where", "sex = female", "--label", "Women"),
    ("export",)], ids=" ".join)  # fmt: skip
def test_what_needs_rows_says_so(made: Made, words: tuple[str, ...]) -> None:
    said = run(*words, "--out", made.out, code=1)
    assert said.startswith("the store holds sums only: no row of a client is derived in it.")
    assert "run `rmt-outcomes derive` without --only-sums" in said


def test_a_result_is_explained_from_what_is_there(made: Made) -> None:
    said = run("explain", "protocols.fitted.residual_sd_cmh2o[pressure=mip]", "--out", made.out)
    assert "Inputs: frames.model, of which no row came home: sums alone did." in said and "2026Q3: " in said
    for word in ("tests.value.number", "no_prescription"):
        assert "The store holds sums only: how many rows" in run("explain", word, "--out", made.out)


def test_sizes_come_from_the_spread_that_was_fitted(made: Made, sample_review) -> None:
    words = ("plan-size", "--difference", "6", "--out")
    assert run(*words, made.out) == run(*words, sample_review[0])


def test_the_shared_edition_is_packed(made: Made, tmp_path: Path) -> None:
    run("bundle", tmp_path / "a.zip", "--out", made.out)
    with zipfile.ZipFile(tmp_path / "a.zip") as packed:
        assert packed.namelist() == ["index.html", "protocols.html", "results.json"]


def test_rows_set_aside_are_still_given_out(made: Made, tmp_path: Path) -> None:
    assert "rows set aside" in run("set-aside", tmp_path / "rows", "--out", made.out)


def test_a_person_is_erased_and_the_results_that_held_them(made: Made, tmp_path: Path) -> None:
    out = tmp_path / "out"
    shutil.copytree(made.out, out)
    with open_store(out / "store.duckdb", read_only=True) as store:
        key = str(store.sql("select min(client_key) as k from received.sessions")["k"][0])
    said = run("forget", key, "--out", out)
    assert "Next: rmt-outcomes derive --engine WORD --only-sums and report" in said and key not in said
    assert not any(key.encode() in p.read_bytes() for p in out.rglob("*") if p.is_file())
    with open_store(out / "store.duckdb", read_only=True) as store:
        assert not store.has_table("results.current") and not store.has_table("results.run")
        assert store.sql("select count(*) as n from received.sessions where client_key = $k", {"k": key})["n"][0] == 0
    assert not (out / "shared").exists()
    assert "run `rmt-outcomes analyse` first" in run("report", "--out", out, code=1)


@pytest.mark.slow
def test_an_earlier_batch_is_rebuilt_whole(made: Made, tmp_path: Path, sample_review) -> None:
    """The rows that were received are in the store: a review as of a batch is made of them, with both editions."""
    out = tmp_path / "out"
    out.mkdir()
    shutil.copy(made.out / "store.duckdb", out / "store.duckdb")
    run("review", "--as-of", 1, "--out", out)
    for name in ("internal", "shared"):
        assert files_of(out / "as_of_1", name) == files_of(sample_review[0], name)
