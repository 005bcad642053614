"""The whole street on the sample cohort: what a review writes, keeps, repeats and never says."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import polars as pl
import pytest

from pipeline import stages
from pipeline.errors import FileRefused
from pipeline.report import editions
from tests.conftest import SAMPLE

PAGES = {edition: set(names) for edition, names in editions.PAGES.items()}
TRUTH = json.loads((SAMPLE / "truth.json").read_text(encoding="utf-8"))


def nothing(step: str, done: int, total: int) -> None:
    """No progress."""


def files_of(out: Path, edition: str) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in sorted((out / edition).iterdir())}


@pytest.mark.parametrize("edition", sorted(PAGES))
def test_each_edition_has_its_pages(sample_review, edition):
    out, _ = sample_review
    assert {n.removesuffix(".html") for n in files_of(out, edition) if n.endswith(".html")} == PAGES[edition]
    assert {"index", "quarter", "protocols"} <= PAGES[edition]
    assert PAGES["shared"].isdisjoint({"stalled", "sites", "fix_list"})  # about single people, sites and rows


def test_internal_has_its_twins(sample_review):
    out, _ = sample_review
    assert {"results.json", "stalled.csv", "queries.csv", "set_aside.csv"} <= set(files_of(out, "internal"))
    assert set(files_of(out, "shared")) - {f"{p}.html" for p in PAGES["shared"]} == {"results.json"}


def test_the_summary_has_seconds_and_hashes(sample_review):
    _, summary = sample_review
    assert set(summary.seconds) == {"read", "check", "store", "derive", "analyse", "report"}
    assert summary.exit_code == 0 and all(len(o.sha256) == 64 for o in summary.outputs)


def keys_of_the_sample() -> set[str]:
    clients = pl.read_csv(SAMPLE / "clients.csv", infer_schema=False)
    return set(clients["client_key"].drop_nulls().to_list())


def test_no_client_key_leaves_with_the_shared_edition(sample_review):
    out, _ = sample_review
    text = "\n".join(b.decode() for b in files_of(out, "shared").values())
    assert [key for key in keys_of_the_sample() if key in text] == []


def test_the_internal_edition_does_name_keys(sample_review):
    """The search above can fail: the internal stalled list holds keys."""
    out, _ = sample_review
    text = (out / "internal" / "stalled.html").read_text(encoding="utf-8")
    assert any(key in text for key in keys_of_the_sample())


def test_no_hidden_cell_keeps_a_number(sample_review):
    out, _ = sample_review
    inner = {r["key"]: r for r in json.loads((out / "internal" / "results.json").read_text())["results"]}
    outer = json.loads((out / "shared" / "results.json").read_text())["results"]
    hidden = [r for r in outer if str(r.get("text", "")).startswith("hidden (")]
    assert hidden, "the sample has small cells"
    for row in hidden:
        assert all(row.get(f) is None for f in ("n", "n_people", "hits", "value", "low", "high")), row["key"]
        of_a_site = "site=" in row["group"] and inner[row["key"]].get("text") == "hidden (n<11)"  # inside as well
        assert of_a_site or {"n", "n_people"} & set(inner[row["key"]]), row["key"]


def test_no_shown_count_is_small(sample_review):
    out, _ = sample_review
    for row in json.loads((out / "shared" / "results.json").read_text())["results"]:
        people = row.get("n") if row.get("n_of") == "people" else row.get("n_people")
        assert people is None or people == 0 or people > 10, row["key"]


def test_every_planted_row_is_set_aside_and_no_other(sample_review):
    out, _ = sample_review
    found = pl.read_csv(out / "internal" / "set_aside.csv").select("file", "line", "rule").rows()
    wanted = [(f["file"], f["line"], f["rule"]) for f in TRUTH["faults"]]
    assert sorted(set(found)) == sorted(set(wanted))


def test_kept_and_set_aside_add_up(sample_review):
    _, summary = sample_review
    c = summary.counts
    assert c["rows_kept"] + c["rows_set_aside"] + c["rows_unchanged"] == c["rows_read"]


@pytest.mark.slow
def test_a_second_review_changes_no_byte_in_another_zone_locale_and_hash_seed(sample_review, tmp_path):
    out, _ = sample_review
    (tmp_path / "out").mkdir()
    shutil.copy(out / "store.duckdb", tmp_path / "out" / "store.duckdb")
    env = {**os.environ, "TZ": "Australia/Sydney", "LC_ALL": "C", "PYTHONHASHSEED": "2", "POLARS_MAX_THREADS": "1"}
    words = [sys.executable, "-m", "pipeline", "review", str(SAMPLE), "--out", str(tmp_path / "out")]
    said = subprocess.run(words, env=env, check=True, capture_output=True, cwd=SAMPLE.parent, text=True)
    assert "Nothing changed: the store holds" in said.stdout
    for edition in PAGES:
        assert files_of(out, edition) == files_of(tmp_path / "out", edition)


@pytest.mark.slow
@pytest.mark.parametrize("logs", ["sessions", "weekly_logs"])
def test_four_tables_are_enough(tmp_path, logs):
    for table in ("clients", "episodes", "tests", logs):
        shutil.copy(SAMPLE / f"{table}.csv", tmp_path / f"{table}.csv")
    summary = stages.review(tmp_path, tmp_path / "out", None, None, nothing)
    assert summary.exit_code in (0, 5)
    for edition, pages in PAGES.items():
        assert {f"{p}.html" for p in pages} <= set(files_of(tmp_path / "out", edition))


def test_a_bad_file_changes_nothing(sample_review, tmp_path):
    out, _ = sample_review
    mine = tmp_path / "out"
    mine.mkdir()
    shutil.copy(out / "store.duckdb", mine / "store.duckdb")
    before = (mine / "store.duckdb").read_bytes()
    bad = tmp_path / "bad"
    shutil.copytree(SAMPLE, bad)
    lines = (bad / "episodes.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    (bad / "episodes.csv").write_text(lines[0].replace("protocol", "scheme") + "".join(lines[1:]), encoding="utf-8")
    with pytest.raises(FileRefused) as refused:
        stages.review(bad, mine, None, None, nothing)
    assert "protocol" in refused.value.text
    assert (mine / "store.duckdb").read_bytes() == before
