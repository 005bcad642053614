"""A value needs its unit; a test that was not done has none to give."""

from __future__ import annotations

import polars as pl

from pipeline.contract import TABLES
from pipeline.contract.schemas import oracle_verdict
from pipeline.ingest import read_folder
from pipeline.settings import Settings
from pipeline.store import open_store
from pipeline.validate import LoadMeta, check, load
from tests.sql.rows import day, run
from tests.validate.folder import KEY, SOUND, write


def test_a_value_without_a_unit_is_set_aside_and_a_test_not_done_is_not(tmp_path):
    lines = [*SOUND["tests"], f"{KEY},2025-02-06,mip,1,61,,", f"{KEY},2025-02-07,mip,1,,,declined",
             f"{KEY},2025-02-08,mip,1,,,"]
    intake = read_folder(write(tmp_path, tests=lines))
    verdict = check(intake, Settings(set_aside_max_pct=100.0))
    found = [(r["line"], r["rule"]) for r in verdict.set_aside.iter_rows(named=True)]
    assert found == [(6, "tests.unit.needed"), (8, "tests.value.needed")]
    raw = next(f for f in intake.files if f.table == "tests").rows
    lacking = [n for n in TABLES["tests"].column_names if n not in raw.columns]
    whole = raw.with_columns(**{n: pl.lit(None, pl.String) for n in lacking})
    assert {rule for _, rule in oracle_verdict(TABLES["tests"], whole)} == {"tests.unit.needed", "tests.value.needed"}
    with open_store(":memory:") as store:
        load(store, verdict, LoadMeta("2026-01-01T00:00:00+00:00", "0", "{}"))
        kept = store.sql("select unit from received.tests where not_done_reason = 'declined'")
    assert kept["unit"].to_list() == [None]


def test_a_test_not_done_without_a_unit_stays_in_the_settled_tests():
    row = {"client_key": KEY, "tested_on": day("2025-02-07"), "pressure": "mip", "effort_no": 1, "value": None,
           "unit": None, "not_done_reason": "declined"}
    course = {"client_key": KEY, "course_no": 1, "record_from_on": day("2025-01-01"),
              "record_until_on": day("9999-12-31")}
    found = run("settled.tests", {"received.tests": [row], "settled.courses": [course], "reference.unit_factors": [],
                                  "settled.span": [{"data_until_on": day("2026-01-01")}]})
    assert [(r["not_done_reason"], r["value_cmh2o"]) for r in found] == [("declined", None)]
