"""The committed sample: it is what the generator makes, small, and the same bytes every time."""

import json
from pathlib import Path

import polars as pl
import pytest

from pipeline.contract import TABLES
from pipeline.simulate import Cohort, generate
from pipeline.simulate.write import write_csv, write_parquet

SAMPLE = Path(__file__).parents[2] / "sample_data"
LARGEST_BYTES = 6_000_000
BY_HAND = {"plan.toml", "annotations.toml"}
"""Written, not drawn: the plan of the analysis and the notes of the meetings."""


def test_the_committed_sample_is_what_its_seed_makes(cohort: Cohort, tmp_path: Path) -> None:
    write_csv(cohort, tmp_path)
    made, committed = ({p.name: p.read_bytes() for p in folder.iterdir()} for folder in (tmp_path, SAMPLE))
    assert made.keys() == committed.keys() - BY_HAND and committed.keys() >= BY_HAND
    assert [name for name in sorted(made) if made[name] != committed[name]] == []


def test_the_same_seed_makes_the_same_bytes_and_another_seed_does_not(cohort: Cohort, tmp_path: Path) -> None:
    for name, some in (("a", cohort), ("b", generate(cohort.truth["seed"])), ("c", generate(7))):
        write_csv(some, tmp_path / name)
    first, again, other = ((tmp_path / n / "tests.csv").read_bytes() for n in "abc")
    assert first == again
    assert first != other


def test_the_sample_is_small_enough_to_commit() -> None:
    assert sum(p.stat().st_size for p in SAMPLE.iterdir()) < LARGEST_BYTES


@pytest.mark.parametrize("table", sorted(TABLES))
def test_every_column_of_the_contract_stands_in_the_sample(cohort: Cohort, table: str) -> None:
    assert tuple(cohort.tables[table].columns) == TABLES[table].column_names


def test_no_cell_holds_a_line_break(cohort: Cohort) -> None:
    """The lines in truth.json are physical lines only as long as this holds."""
    for frame in cohort.tables.values():
        assert not frame.select(pl.any_horizontal(pl.all().str.contains("[\n\r]").any())).item()


def test_parquet_holds_the_same_text(cohort: Cohort, tmp_path: Path) -> None:
    write_parquet(cohort, tmp_path)
    for name, frame in cohort.tables.items():
        assert pl.read_parquet(tmp_path / f"{name}.parquet").equals(frame)


def test_truth_json_is_the_cohorts_truth(cohort: Cohort) -> None:
    assert json.loads((SAMPLE / "truth.json").read_text(encoding="utf-8")) == json.loads(json.dumps(cohort.truth))
