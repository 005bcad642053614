"""A day in parts is never guessed: an order is declared, and one row that disproves it refuses the file."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.contract import TABLES
from pipeline.ingest.days import day_of_serial, disproved, iso_day, undeclared


def rows(*days: str | None) -> pl.DataFrame:
    return pl.DataFrame({"tested_on": days, "line_": range(2, len(days) + 2)}, schema_overrides={"line_": pl.Int64})


@pytest.mark.parametrize(("text", "order", "day"), [
    ("03/04/2026", "dmy", "2026-04-03"), ("03/04/2026", "mdy", "2026-03-04"), ("3.4.2026", "dmy", "2026-04-03"),
    ("2026/4/3", "ymd", "2026-04-03"), (" 31-12-2026 00:00 ", "dmy", "2026-12-31"), ("31/12/2026", "mdy", None),
    ("29/02/2025", "dmy", None), ("03/04/26", "dmy", None), ("2026-04-03", "dmy", None), ("3 April 2026", "dmy", None),
    ("03/04/2026 10:30", "dmy", None), ("٣/٤/٢٠٢٦", "dmy", None),
])
def test_a_day_is_read_in_its_declared_order_only(text, order, day):
    assert iso_day(text, order) == day


def test_a_day_of_two_meanings_refuses_the_file_and_the_rows_that_prove_an_order_are_named():
    (fault,) = undeclared(TABLES["tests"], "t.csv", rows("03/04/2026", "2026-01-02", "25/04/2026", "04/25/2026", None))
    assert fault.rule == "tests.tested_on.date_order" and fault.exit_code == 3
    assert "1 days could be day before month or month before day (lines 2)" in fault.text
    assert "lines 4 can only be day before month; lines 5 can only be month before day" in fault.text
    assert "03/04" not in fault.text


def test_days_that_fit_one_order_or_mean_one_day_are_left_to_the_contract():
    assert undeclared(TABLES["tests"], "t.csv", rows("25/04/2026", "04/04/2026", "2026-04-03", "soon")) == []


def test_a_declared_order_that_a_row_disproves_is_refused():
    fault = disproved("t.csv", "tested_on", rows("03/04/2026", "04/25/2026"), "dmy")
    assert fault is not None and "cannot be dmy" in fault.text and "lines 3" in fault.text
    assert disproved("t.csv", "tested_on", rows("03/04/2026", "25/04/2026"), "dmy") is None
    assert disproved("t.csv", "tested_on", rows("04/25/2026"), "ymd") is None


@pytest.mark.parametrize("text", ["", "soon", "46115.5", "-1", "32873", "73416", "4e4", "9999999"])
def test_what_is_no_serial_day_of_the_contract_is_left_alone(text):
    assert day_of_serial(text) is None
