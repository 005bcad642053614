"""What is planted in the sample is found, with file, line and rule, and nothing else is."""

from pathlib import Path

import polars as pl
import pytest

from pipeline.contract import TABLES
from pipeline.contract.schemas import oracle_verdict
from pipeline.ingest import read_folder
from pipeline.settings import Settings
from pipeline.simulate import Cohort
from pipeline.simulate.write import write_csv, write_parquet
from pipeline.validate import check

WRITERS = {"csv": write_csv, "parquet": write_parquet}
Place = tuple[str, int, str, str]


def planted(cohort: Cohort) -> set[Place]:
    return {(Path(f["file"]).stem, f["line"], f["column"], f["rule"]) for f in cohort.faults}


@pytest.mark.parametrize("table", sorted(TABLES))
def test_the_contract_finds_the_planted_cells_and_no_others(cohort: Cohort, table: str) -> None:
    found = {(row + 2, rule) for row, rule in oracle_verdict(TABLES[table], cohort.tables[table])}
    assert found == {(line, rule) for name, line, _, rule in planted(cohort) if name == table and ".row." not in rule}


@pytest.mark.parametrize("form", sorted(WRITERS))
def test_every_planted_row_is_set_aside_and_no_other(cohort: Cohort, tmp_path: Path, form: str) -> None:
    WRITERS[form](cohort, tmp_path)
    verdict = check(read_folder(tmp_path), Settings())
    records = pl.concat([f.set_aside for f in verdict.files])
    found = {(Path(file).stem, line, column, rule)
             for file, line, column, rule in records.select("file", "line", "column_name", "rule").iter_rows()}
    assert found == planted(cohort)
    assert records.height == len(cohort.faults)
    assert verdict.absent == ()


def test_each_planted_row_has_exactly_one_fault(cohort: Cohort) -> None:
    places = [(f["file"], f["line"]) for f in cohort.faults]
    assert len(places) == len(set(places))


def test_rows_read_and_set_aside_are_counted_per_file(cohort: Cohort) -> None:
    for name, frame in cohort.tables.items():
        counts = cohort.truth["files"][f"{name}.csv"]
        assert counts["rows_read"] == frame.height
        assert counts["rows_set_aside"] == sum(f["file"] == f"{name}.csv" for f in cohort.faults)


def test_faults_of_every_kind_and_table_are_planted(cohort: Cohort) -> None:
    assert {Path(f["file"]).stem for f in cohort.faults} == set(TABLES)
    kinds = {f["rule"].rsplit(".", 1)[1] for f in cohort.faults}
    assert kinds >= {"number", "day", "code", "range", "needed", "key", "label", "repeated", "conflict", "believable",
                     "mep_above_zero", "value_or_reason", "not_before_start", "band_in_order", "whole_on_nrs",
                     "nothing_in_a_lost_diary", "in_range_of_measure", "whole_grade"}


def test_query_rows_stand_where_the_truth_says(cohort: Cohort) -> None:
    clients = set(cohort.tables["clients"]["client_key"])
    for query in cohort.truth["queries"]:
        rows = cohort.tables[query["table"]]
        for line in query["lines"]:
            assert rows["client_key"][line - 2] == query["client_key"]
        assert (query["client_key"] in clients) == (query["cause"] != "client_missing")
