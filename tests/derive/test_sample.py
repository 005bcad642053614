"""The whole derivation on the committed sample: invariants, planted queries, and the dose recounted another way."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterator
from datetime import timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline import derive
from pipeline.errors import RmtError
from pipeline.ingest import read_folder
from pipeline.settings import Settings
from pipeline.store import Store, open_store
from pipeline.validate import LoadMeta, check, load

SAMPLE = Path(__file__).parents[2] / "sample_data"
META = LoadMeta("2026-10-01T00:00:00+00:00", "test", "{}")


@pytest.fixture(scope="module")
def derived() -> Iterator[tuple[Store, derive.DeriveSummary]]:
    with open_store(":memory:") as store:
        load(store, check(read_folder(SAMPLE), Settings()), META)
        yield store, derive.derive(store, Settings())


def test_no_invariant_is_broken(derived: tuple[Store, derive.DeriveSummary]) -> None:
    assert {name: n for name, n in derived[1].offending.items() if n} == {}
    assert len(derived[1].offending) >= 7
    assert dict(derived[1].tables)["frames.model"] > 1000


def test_planted_queries_are_found_and_no_others(derived: tuple[Store, derive.DeriveSummary]) -> None:
    truth = json.loads((SAMPLE / "truth.json").read_text(encoding="utf-8"))
    planted = {(q["cause"], q["client_key"]) for q in truth["queries"]}
    found = set(derived[0].sql("select distinct cause, client_key from frames.queries").iter_rows())
    assert found == planted


def test_deriving_again_makes_the_same_tables(derived: tuple[Store, derive.DeriveSummary]) -> None:
    store = derived[0]
    before = {name: store.table(name) for name, _ in derived[1].tables if name.startswith("frames.")}
    assert derive.derive(store, Settings()).tables == derived[1].tables
    assert all(store.table(name).equals(frame) for name, frame in before.items())


def test_progress_names_each_table_once(derived: tuple[Store, derive.DeriveSummary]) -> None:
    seen: list[tuple[str, int, int]] = []
    derive.derive(derived[0], Settings(), progress=lambda *at: seen.append(at))
    assert [name for name, _, _ in seen] == [name for name, _ in derived[1].tables]
    assert [at for _, at, _ in seen] == list(range(seen[0][2]))


def test_a_fault_leaves_the_tables_of_the_last_run(
    derived: tuple[Store, derive.DeriveSummary], monkeypatch: pytest.MonkeyPatch
) -> None:
    store, files = derived[0], derive.sql_files()
    spoiled = files | {"frames.zz": "select t.nothing from frames.model as t"}
    monkeypatch.setattr(derive, "sql_files", lambda: spoiled)
    with pytest.raises(RmtError, match=r"frames/zz.sql: cannot be run"):
        derive.derive(store, Settings())
    assert store.table("frames.model").height == dict(derived[1].tables)["frames.model"]


def sessions_by_client(store: Store) -> dict[str, list[dict[str, Any]]]:
    """Sessions of clients who log sessions only, who have one dose rate, and no pause: dose is then plain to count."""
    told = store.sql("""
        select s.client_key, s.session_on from settled.sessions as s
        anti join settled.pauses as p on p.client_key = s.client_key
        anti join settled.weekly_logs as w on w.client_key = s.client_key and w.returned = 'yes'
        semi join (
          select client_key from settled.prescriptions group by client_key
          having min(sessions_per_day * days_per_week) = max(sessions_per_day * days_per_week)
        ) as d on d.client_key = s.client_key
    """)
    rows: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for row in told.iter_rows(named=True):
        rows[row["client_key"]].append(row)
    return rows


def test_dose_recounted_in_plain_loops(derived: tuple[Store, derive.DeriveSummary]) -> None:
    store = derived[0]
    sessions = sessions_by_client(store)
    rates = dict(store.sql("select client_key, max(sessions_per_day * days_per_week) from settled.prescriptions "
                           "group by client_key").iter_rows())
    courses = {c["client_key"]: c for c in store.table("settled.courses").iter_rows(named=True) if c["n_episodes"] == 1}
    model = store.table("frames.model").filter(pl.col("pressure") == "mip").sort("client_key", "tested_on")
    n_checked = 0
    for (key,), tests in model.group_by("client_key", maintain_order=True):
        if key not in sessions or key not in courses or tests["course_no"].n_unique() > 1:
            continue
        expected = past_dose(tests["tested_on"].to_list(), sessions[key], courses[key], rates[key] / 7)
        assert tests["dose_d"].to_list() == pytest.approx(expected, nan_ok=True)
        n_checked += len(expected)
    assert n_checked > 300


def past_dose(tested: list[Any], sessions: list[dict[str, Any]], course: dict[str, Any], a_day: float) -> list[float]:
    """D at each test, as the definition reads: share of the prescribed sessions done, times days of course / 84."""
    week0, last = course["week0_on"], course["last_on"]
    known = {(s["session_on"] - week0).days // 7 for s in sessions}
    total, doses, done_before, days_before = 0.0, [0.0], 0, 0
    for a, b in pairwise(tested):
        a = max(a, week0)
        days = [a + timedelta(days=n) for n in range((b - a).days) if a + timedelta(days=n) <= last]
        seen = [d for d in days if (d - week0).days // 7 in known]
        done = sum(a <= s["session_on"] < b for s in sessions)
        share = done / (a_day * len(seen)) if seen else done_before / (a_day * days_before) if days_before else 0.0
        total += share * len(days) / 84
        done_before, days_before = done_before + done, days_before + len(seen)
        doses.append(total)
    return doses
