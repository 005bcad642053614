"""Quarters under both date policies: their labels, numbers, days and order."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise

import polars as pl
import pytest

from pipeline.analyse.common import periods
from pipeline.identity import quarters
from pipeline.identity.day_offsets import EPOCH, LIMITED, RELATIVE, last_day, until


def test_labels_count_on_and_sort_as_text() -> None:
    for numbers in (range(406), range(1990 * 4, 2101 * 4)):
        labels = [quarters.label_of(n) for n in numbers]
        assert labels == sorted(labels) and [quarters.number_of(q) for q in labels] == list(numbers)
        assert all(quarters.LABEL.fullmatch(q) for q in labels)
    with pytest.raises(ValueError, match="no quarter"):
        quarters.label_of(-1)


def test_a_block_is_exactly_13_weeks_and_no_calendar_quarter() -> None:
    ends = [quarters.last_day(quarters.label_of(n)) for n in range(60)]
    assert ends[0] == EPOCH - dt.timedelta(days=1)
    assert {(b - a).days for a, b in pairwise(ends)} == {13 * 7}
    assert quarters.own_days("block-000") == (None, -1) and quarters.own_days("block-002") == (91, 181)
    assert quarters.fits("block-002", RELATIVE) and not quarters.fits("block-002", LIMITED)
    assert quarters.fits("2026Q3", LIMITED) and not quarters.fits("2026Q3", RELATIVE)
    assert not quarters.fits("2026Q5", LIMITED) and not quarters.fits("block-1", RELATIVE)


def test_before_the_first_block_lies_one_and_before_that_nothing() -> None:
    assert periods("block-001") == {"this": ["block-001"], "last": ["block-000"], "last4": ["block-000", "block-001"]}
    assert periods("block-000")["last"] == []


def test_days_are_told_and_read_back_as_the_quarter_tells_them() -> None:
    day = dt.date(2000, 4, 1)
    said = [quarters.day_words(day, q) for q in ("block-001", "2026Q3")]
    assert said == ["day 91", "2000-04-01"]
    assert pl.DataFrame({"text": said}).select(quarters.days_told("text")).to_series().to_list() == [day, day]


def test_a_lone_slip_of_the_pen_is_not_the_end_and_a_planned_end_is_none_yet() -> None:
    sessions = pl.DataFrame({"client_key": ["a", "b", "a"], "session_on": ["2026-01-05", "2026-02-01", "2062-02-01"]})
    tests = pl.DataFrame({"client_key": ["b"], "tested_on": ["2026-02-03"]})
    end = last_day({"sessions": sessions, "tests": tests}, 84)
    assert end == "2026-02-03" and last_day({}, 84) is None
    assert last_day({"sessions": sessions.head(1)}, 84) == "2026-01-05"
    kept, later, ahead = until(sessions, ["session_on"], end)
    assert (kept.height, later, ahead) == (2, 1, 0)
    episodes = pl.DataFrame({"from_on": ["2025-12-01", "2026-01-01", "2026-03-01"],
                             "to_on": ["2026-02-03", "2026-05-01", None]})
    kept, later, ahead = until(episodes, ["from_on", "to_on"], end)
    assert kept["to_on"].to_list() == ["2026-02-03", None] and (later, ahead) == (1, 1)
