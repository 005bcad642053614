"""One simulated cohort: people, their rows, the planted cases, and the truth that belongs to them."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import polars as pl

from pipeline.contract import TABLES
from pipeline.simulate.efforts import outcome_rows, test_rows
from pipeline.simulate.faults import plant_faults
from pipeline.simulate.outcomes import visit
from pipeline.simulate.people import Person, plan_all
from pipeline.simulate.queries import Case, Query, plant_queries
from pipeline.simulate.rows import (
    Row,
    Rows,
    client_rows,
    diary_rows,
    episode_rows,
    event_rows,
    pause_rows,
    prescription_rows,
    review_rows,
    row,
    session_rows,
)
from pipeline.simulate.scenario import Scenario
from pipeline.simulate.training import train
from pipeline.simulate.truth import whole_truth

DEFAULT_SEED = 20260930
TAG = "tag_"

#: Queries whose rows the contract sets aside as well: rows of one natural key that disagree.
ALSO_CONFLICTS = ("slot_told_twice", "maybe_two_people")


@dataclass(frozen=True)
class Cohort:
    """Input tables as text (one frame a table, in file order), the truth, and the planted faults with file and line."""

    tables: dict[str, pl.DataFrame]
    truth: dict[str, Any]
    faults: list[dict[str, Any]]


def person_case(person: Person, scenario: Scenario) -> Case:
    """Simulate one person and write every row of theirs."""
    training = train(person, scenario)
    visits = visit(person, scenario, training)
    rows: Rows = {
        "clients": client_rows(person), "episodes": episode_rows(person, scenario, visits),
        "prescriptions": prescription_rows(person, scenario, training, visits),
        "pauses": pause_rows(person, training, visits), "events": event_rows(person, training, visits),
        "tests": test_rows(person, scenario, visits), "other_outcomes": outcome_rows(person, visits),
    }
    if person.source == "sessions":
        rows["sessions"] = session_rows(person, scenario, training, visits)
    else:
        rows["weekly_logs"] = diary_rows(person, scenario, training, visits)
    return Case(person, rows, visits)


def instrument_rows(scenario: Scenario) -> list[Row]:
    """Write what was done to the manometers: two calibrations a year, and the changes that were told."""
    days = [date(y, m, 10) for y in (2023, 2024, 2025, 2026) for m in (2, 8) if date(y, m, 10) > date(2023, 4, 1)]
    rows = [row(instrument=s.gauge, site=s.name, event_on=d + timedelta(days=n), what="calibrated")
            for n, s in enumerate(scenario.sites) for d in days
            if not any(c.label == s.gauge and c.label_after != s.gauge and c.on <= d for c in scenario.gauge_changes)]
    rows += [row(instrument=c.label_after, site=c.site, event_on=c.on, what="replaced")
             for c in scenario.gauge_changes if c.told]
    return rows


def as_frame(table: str, rows: list[Row]) -> pl.DataFrame:
    """Turn rows into a frame of text in file order: by natural key, then by every column; of two equal rows the tagged
    one stands second. The column `tag_` names planted rows."""
    contract = TABLES[table]
    frame = pl.DataFrame(rows, schema=dict.fromkeys([*contract.column_names, TAG], pl.String), orient="row")
    rest = [c for c in contract.column_names if c not in contract.natural_key]
    order = [pl.col(c).cast(pl.Int64, strict=False) if c == "effort_no" else pl.col(c) for c in contract.natural_key]
    by = [*order, *(pl.col(c) for c in [*rest, TAG])]
    return frame.sort(by, nulls_last=[True] * (len(by) - 1) + [False])


def lines_of_tags(tables: dict[str, pl.DataFrame]) -> dict[str, list[int]]:
    """Return the physical lines of every tag (headings stand in line 1; no cell holds a line break)."""
    found: dict[str, list[int]] = {}
    for frame in tables.values():
        tagged = frame.select(pl.int_range(2, pl.len() + 2).alias("line"), TAG).filter(pl.col(TAG).is_not_null())
        for line, tag in tagged.iter_rows():
            found.setdefault(tag, []).append(line)
    return found


def query_records(queries: list[Query], lines: dict[str, list[int]]) -> list[dict[str, Any]]:
    return [{"cause": q.cause, "client_key": q.client_key, "table": q.table, "file": f"{q.table}.csv",
             "lines": lines.get(q.tag, [])} for q in queries]


def fault_records(planted: list[tuple[str, str, str, str]], queries: list[Query],
                  lines: dict[str, list[int]]) -> list[dict[str, Any]]:
    """Return one record a row that must be set aside, in the order of file and line."""
    found = [{"file": f"{table}.csv", "line": lines[tag][0], "column": column, "rule": rule}
             for tag, table, column, rule in planted]
    found += [{"file": f"{q.table}.csv", "line": line, "column": "", "rule": f"{q.table}.row.conflict"}
              for q in queries if q.cause in ALSO_CONFLICTS for line in lines[q.tag]]
    return sorted(found, key=lambda f: (str(f["file"]), int(str(f["line"])), str(f["rule"])))


def conflicting_tests(rows: list[Row]) -> list[tuple[str, str, str, str]]:
    """Write one lower effort a second time with another value: neither row can be believed. Return both as planted."""
    lower = [r for r in rows if r.get("acceptable") == "no" and TAG not in r and r["unit"] == "cmh2o"]
    first = lower[len(lower) // 2]
    second = {**first, "value": str(int(first["value"] or 0) - 7), TAG: "conflict-b"}
    first[TAG] = "conflict-a"
    rows.append(second)
    return [(tag, "tests", "", "tests.row.conflict") for tag in ("conflict-a", "conflict-b")]


def generate(seed: int = DEFAULT_SEED, scenario: Scenario | None = None) -> Cohort:
    """Simulate a cohort. The same seed and scenario give the same tables, byte for byte."""
    scenario = scenario or Scenario()
    cases = [person_case(p, scenario) for p in plan_all(seed, scenario)]
    truth = whole_truth(seed, scenario, cases)
    queries = plant_queries(cases, scenario.data_until_on)
    rows: Rows = {name: [r for c in cases for r in c.rows.get(name, [])] for name in TABLES}
    rows["instruments"] += instrument_rows(scenario)
    rows["reviews"] += review_rows([c.person for c in cases], scenario)
    planted = plant_faults(rows) + conflicting_tests(rows["tests"])
    tagged = {name: as_frame(name, some) for name, some in rows.items()}
    lines = lines_of_tags(tagged)
    faults = fault_records(planted, queries, lines)
    aside = Counter(str(f["file"]) for f in faults)
    truth["queries"] = query_records(queries, lines)
    truth["files"] = {f"{name}.csv": {"rows_read": frame.height, "rows_set_aside": aside[f"{name}.csv"]}
                      for name, frame in tagged.items()}
    truth["faults"] = faults
    return Cohort({name: frame.drop(TAG) for name, frame in tagged.items()}, truth, faults)
