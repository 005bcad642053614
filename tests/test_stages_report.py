"""Results survive the store as they were; the last full quarter is the one the data cover to its end."""

from __future__ import annotations

from datetime import date

import pytest

from pipeline.identity.quarters import last_full
from pipeline.results import Partition, Result, ResultSet
from pipeline.settings import Settings
from pipeline.stages_frames import holds_only_sums
from pipeline.stages_report import _keep, read_results
from pipeline.store import open_store


@pytest.mark.parametrize(
    ("until", "quarter"),
    [("2026-09-30", "2026Q3"), ("2026-09-29", "2026Q2"), ("2026-10-01", "2026Q3"), ("2026-12-31", "2026Q4"),
     ("2027-01-01", "2026Q4"), ("2026-03-31", "2026Q1")],
)
def test_last_full_quarter(until, quarter):
    assert last_full(date.fromisoformat(until)) == quarter


def test_two_sums_of_one_total_stay_two():
    rows = tuple(Result("quarter", "who", "people", g, n=n) for g, n in (("all", 5), ("a", 2), ("b", 3), ("c", 5)))
    keys = [r.key for r in rows]
    sums = (Partition(keys[0], (keys[1], keys[2])), Partition(keys[0], (keys[3],)))
    with open_store(":memory:") as store:
        _keep(store, ResultSet(rows, sums), "2026Q3", Settings())
        assert read_results(store) == (ResultSet(rows, sums), "2026Q3")


def test_a_store_of_an_earlier_version_holds_rows():
    with open_store(":memory:") as store:
        assert not holds_only_sums(store)
        _keep(store, ResultSet((Result("quarter", "who", "people", n=20),)), "2026Q3", Settings(), only_sums=True)
        assert holds_only_sums(store)
        store.execute("alter table results.run drop column only_sums")
        assert not holds_only_sums(store)
