"""Frames as they stood at an earlier quarter; and that the SQL's gains come back when nothing is later."""

from datetime import date

from polars.testing import assert_frame_equal

from pipeline.analyse.earlier import SERIES, _gains, until_quarter
from pipeline.identity.quarters import last_day
from pipeline.settings import Settings


def test_last_days_of_quarters():
    assert [last_day(q) for q in ("2026Q1", "2026Q4", "2024Q1")] == [
        date(2026, 3, 31), date(2026, 12, 31), date(2024, 3, 31),
    ]  # fmt: skip


def test_nothing_is_touched_when_the_data_end_by_then(frames):
    seen = until_quarter(frames, "2026Q3", Settings())
    assert seen["gains"] is frames["gains"] and seen["courses"] is frames["courses"]
    assert seen["model"].height == frames["model"].height


def test_gains_made_again_are_those_of_the_sql(frames):
    again = _gains(frames, date(2100, 1, 1), Settings())
    theirs = frames["gains"].sort(SERIES)
    columns = [c for c in theirs.columns if c != "last_pct_predicted"]
    assert_frame_equal(again.select(columns), theirs.select(columns))


def test_an_earlier_quarter_holds_earlier_tests_only(frames):
    seen = until_quarter(frames, "2025Q2", Settings())
    assert seen["gains"]["last_on"].max() <= date(2025, 6, 30)
    assert seen["gains"]["at12_on"].max() <= date(2025, 6, 30)
    assert seen["courses"]["last_on"].max() == date(2025, 6, 30)
    open_then = seen["courses"].filter(seen["courses"]["last_on"] == date(2025, 6, 30))
    assert open_then.height > 10 and open_then["is_open"].sum() > 10
