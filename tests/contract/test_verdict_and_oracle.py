"""The SQL verdict and the pandera schemas come from one contract and must say the same of every row."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.contract import TABLES
from pipeline.contract.faults import faults
from pipeline.contract.schemas import oracle_verdict
from pipeline.contract.sql import sql_verdict
from pipeline.store import open_store
from tests.contract.mutated import text_rows

ROWS_A_TABLE = 4000


def sql_found(name: str, frame: pl.DataFrame) -> set[tuple[int, str]]:
    """Return every (row index, rule) that the SQL verdict finds."""
    with open_store(":memory:") as store, store.frame("incoming", frame):
        bits = store.sql(sql_verdict(TABLES[name]) + " order by line_")["fault_bits"]
    listed = faults(TABLES[name])
    return {(row, f.rule) for row, b in enumerate(bits) if b for k, f in enumerate(listed) if b >> k & 1}


@pytest.mark.parametrize("name", TABLES)
def test_sql_and_pandera_give_the_same_verdict_on_mutated_rows(name: str) -> None:
    frame = text_rows(TABLES[name], ROWS_A_TABLE, odd_share=0.08)
    found = sql_found(name, frame)
    assert found == oracle_verdict(TABLES[name], frame)
    assert len({row for row, _ in found}) > ROWS_A_TABLE // 10  # the mutation did bite
    assert {rule for _, rule in found} == {f.rule for f in faults(TABLES[name])}  # and reached every rule


@pytest.mark.parametrize("name", TABLES)
def test_typed_values_equal_their_text_and_faulty_cells_come_out_empty(name: str) -> None:
    frame = text_rows(TABLES[name], 500, odd_share=0.1)
    with open_store(":memory:") as store, store.frame("incoming", frame):
        typed = store.sql(sql_verdict(TABLES[name]) + " order by line_")
    listed = faults(TABLES[name])
    for row, (text, value) in enumerate(zip(frame.iter_rows(named=True), typed.iter_rows(named=True), strict=True)):
        cell_faults = {f.column for k, f in enumerate(listed) if value["fault_bits"] >> k & 1
                       and f.test in ("spelled", "coded")}
        for column in TABLES[name].columns:
            said = (text[column.name] or "").strip(" \t\r\n\u00a0")
            if not said or column.name in cell_faults:
                assert value[column.name] is None, (row, column.name)
            elif column.kind in ("whole", "number"):
                assert value[column.name] == float(said)
            else:
                assert str(value[column.name]) == said


@pytest.mark.parametrize("text", ["3.7", "0x10", "1e3", "epoch", "12 000", "1,5", "٣"])
def test_a_bare_cast_is_never_made(text: str) -> None:
    table = TABLES["sessions"]
    row = dict.fromkeys(table.column_names) | {"breaths_done": text, "session_on": text}
    frame = pl.DataFrame([row], schema=dict.fromkeys(table.column_names, pl.String)).with_columns(line_=pl.lit(2))
    rules = {rule for _, rule in sql_found("sessions", frame)}
    assert {"sessions.breaths_done.number", "sessions.session_on.day"} <= rules


def test_headings_that_a_file_lacks_come_out_empty() -> None:
    frame = pl.DataFrame({"client_key": ["abcdefgh"], "session_on": ["2025-01-02"], "line_": [2]})
    with open_store(":memory:") as store, store.frame("incoming", frame):
        row = store.sql(sql_verdict(TABLES["sessions"], frame.columns)).row(0, named=True)
    assert row["fault_bits"] == 0 and row["slot"] is None and row["breaths_done"] is None
