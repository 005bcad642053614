"""What is handed to others: rows that say nothing of who or when, a dictionary that fits, a model that R finds too."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from pathlib import Path

import polars as pl
import pytest

from pipeline import stages
from pipeline.errors import RmtError


@pytest.fixture(scope="module")
def exported(sample_review, tmp_path_factory) -> Path:
    out, _ = sample_review
    place = tmp_path_factory.mktemp("export")
    summary = stages.export(out, place, None, lambda step, done, total: None)
    assert summary.counts["models"] == 2 and summary.counts["figures"] > 5 and summary.counts["tables"] > 10
    return place


def package(place: Path) -> dict:
    return json.loads((place / "datapackage.json").read_text(encoding="utf-8"))


def test_rows_hold_no_key_and_no_day(exported, sample_review):
    out, _ = sample_review
    keys = set(pl.read_csv(out / "internal" / "stalled.csv")["client_key"])
    assert len(keys) > 50
    for path in exported.rglob("*"):
        if path.is_file() and path.suffix != ".parquet":
            text = path.read_text(encoding="utf-8")
            assert not [k for k in keys if k in text], path.name
    rows = pl.concat([pl.read_parquet(p).select("person", "week") for p in sorted(exported.glob("*.parquet"))])
    assert rows.height > 1000
    for path in (*exported.glob("tests_*.csv"), exported / "terms.csv"):
        assert not re.search(r"\b(19|20)\d\d-\d\d-\d\d\b", path.read_text(encoding="utf-8"))


def test_csv_and_parquet_hold_the_same_rows(exported):
    for path in exported.glob("tests_*.csv"):
        parquet = pl.read_parquet(path.with_suffix(".parquet"))
        assert pl.read_csv(path, schema=parquet.schema).equals(parquet)


def test_the_dictionary_names_every_column_in_order_with_its_type(exported):
    """Table Schema of the Frictionless Data specifications: fields in order, each with name and type; see
    https://specs.frictionlessdata.io/table-schema/."""
    types = {"integer": pl.Int64, "number": pl.Float64, "string": pl.String, "boolean": pl.Boolean}
    found = package(exported)["resources"]
    assert [r["path"] for r in found] == ["tests_mip.csv", "tests_mep.csv"]
    for resource in found:
        assert re.fullmatch(r"[-a-z0-9._/]+", resource["name"])
        rows = pl.read_parquet(exported / resource["path"].replace(".csv", ".parquet"))
        fields = resource["schema"]["fields"]
        assert [(f["name"], types[f["type"]]) for f in fields] == list(rows.schema.items())
        assert all(f["description"] for f in fields)
        required = {f["name"] for f in fields if f.get("constraints", {}).get("required")}
        assert required == {c for c in rows.columns if rows[c].null_count() == 0}


def test_figures_stand_alone_and_tables_are_those_of_the_shared_pages(exported, sample_review):
    out, _ = sample_review
    for path in (exported / "figures").glob("*.svg"):
        text = path.read_text(encoding="utf-8")
        assert ET.fromstring(text).tag.endswith("svg") and "var(" not in text and "currentColor" not in text
    page = (out / "shared" / "quarter.html").read_text(encoding="utf-8")
    tables = sorted((exported / "tables").glob("quarter_*.csv"))
    assert len(tables) == page.count("<table")
    assert any("hidden (n<11)" in p.read_text(encoding="utf-8") for p in tables)


def test_without_a_review_the_command_says_what_to_do_first(tmp_path):
    with pytest.raises(RmtError) as said:
        stages.export(tmp_path, None, None, lambda step, done, total: None)
    assert "review" in str(said.value)


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("Rscript") is None, reason="R is not installed: its script cannot be tried")
def test_lme4_finds_the_same_model(exported):
    asked = subprocess.run(["Rscript", "-e", "library(lme4)"], capture_output=True, check=False, timeout=120)
    if asked.returncode:
        pytest.skip("R has no lme4 here: its script cannot be tried")
    done = subprocess.run(["Rscript", "primary_models.R"], cwd=exported, capture_output=True, text=True, check=False,
                          timeout=600)  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    ours, theirs = pl.read_csv(exported / "terms.csv"), pl.read_csv(exported / "terms_from_r.csv", null_values="NA")
    assert theirs.height == ours["estimate"].drop_nulls().len()
    assert "terms of 2 models" in done.stdout
