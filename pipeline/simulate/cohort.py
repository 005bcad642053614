"""One simulated cohort: people, their rows, the planted cases, and the truth that belongs to them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import polars as pl

from pipeline.contract import TABLES
from pipeline.simulate.efforts import outcome_rows, test_rows
from pipeline.simulate.outcomes import Visits, visit
from pipeline.simulate.people import Person, plan_all
from pipeline.simulate.rows import (
    Rows,
    client_rows,
    diary_rows,
    episode_rows,
    event_rows,
    pause_rows,
    prescription_rows,
    row,
    session_rows,
)
from pipeline.simulate.scenario import Scenario
from pipeline.simulate.training import train

DEFAULT_SEED = 20260930


@dataclass(frozen=True)
class Cohort:
    """Input tables as text (one frame a table, in file order), the truth, and the planted faults with file and line."""

    tables: dict[str, pl.DataFrame]
    truth: dict[str, Any]
    faults: list[dict[str, Any]]


def person_rows(person: Person, scenario: Scenario) -> tuple[Rows, Visits]:
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
    return rows, visits


def instrument_rows(scenario: Scenario) -> Rows:
    """Write what was done to the manometers: a yearly calibration, and the changes that were told."""
    rows = [row(instrument=s.gauge, site=s.name, event_on=date(year, 2, 10) + timedelta(days=n), what="calibrated")
            for n, s in enumerate(scenario.sites) for year in (2024, 2025, 2026)
            if not any(c.label == s.gauge and c.label_after != s.gauge and c.on.year <= year
                       for c in scenario.gauge_changes)]
    rows += [row(instrument=c.label_after, site=c.site, event_on=c.on, what="replaced")
             for c in scenario.gauge_changes if c.told]
    return {"instruments": rows}


def as_frame(table: str, rows: list[dict[str, str | None]]) -> pl.DataFrame:
    """Turn rows into a frame of text, columns as in the contract, sorted by the natural key, then by everything."""
    contract = TABLES[table]
    frame = pl.DataFrame(rows, schema=dict.fromkeys(contract.column_names, pl.String))
    if table == "tests":
        keys = [pl.col(c).cast(pl.Int64, strict=False) if c == "effort_no" else pl.col(c) for c in contract.natural_key]
    else:
        keys = [pl.col(c) for c in contract.natural_key]
    rest = [pl.col(c) for c in contract.column_names if c not in contract.natural_key]
    return frame.sort([*keys, *rest], nulls_last=True)


def generate(seed: int = DEFAULT_SEED, scenario: Scenario | None = None) -> Cohort:
    """Simulate a cohort. The same seed and scenario give the same tables, byte for byte."""
    scenario = scenario or Scenario()
    all_rows: Rows = {name: [] for name in TABLES}
    people = plan_all(seed, scenario)
    for person in people:
        for table, rows in person_rows(person, scenario)[0].items():
            all_rows[table] += rows
    all_rows["instruments"] += instrument_rows(scenario)["instruments"]
    tables = {name: as_frame(name, rows) for name, rows in all_rows.items()}
    return Cohort(tables, {"seed": seed}, [])
