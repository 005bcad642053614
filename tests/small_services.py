"""Small simulated services, reviewed quarter after quarter in one store, without pages: for tests of editions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np
import polars as pl

from pipeline import stages_load, stages_report
from pipeline.contract import TABLES
from pipeline.report.views import PageMeta
from pipeline.results import ResultSet
from pipeline.settings import Settings
from pipeline.simulate.cohort import TAG, as_frame, person_case
from pipeline.simulate.people import plan
from pipeline.simulate.scenario import PROTOCOLS, SITES, Scenario
from pipeline.stages import Summary
from pipeline.stages_editions import Shared, keep, shared_edition
from pipeline.stages_published import publish
from pipeline.store import edit_store
from tests.some_people import write

QUARTERS = ("2026Q2", "2026Q3")


def nothing(step: str, done: int, total: int) -> None:
    """No progress."""


def service(n: int, *, one_protocol: bool = False, first: date = date(2025, 4, 1)) -> Scenario:
    """A service of n people who started from `first` on; with one protocol it has one site too."""
    whole = Scenario(n_clients=n, first_start_on=first)
    if not one_protocol:
        return whole
    site = replace(SITES[0], share=1.0, protocol_shares=(1.0,))
    return replace(whole, sites=(site,), protocols=PROTOCOLS[:1], gauge_changes=())


def tables(scenario: Scenario, seed: int) -> dict[str, pl.DataFrame]:
    """The input tables of ordinary people: nothing planted, no faulty rows."""
    streams = [np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, i])))
               for i in range(scenario.n_clients)]
    cases = [person_case(plan(rng, scenario), scenario) for rng in streams]
    rows = {name: [r for c in cases for r in c.rows.get(name, [])] for name in TABLES}
    return {name: as_frame(name, some).drop(TAG) for name, some in rows.items()}


def load(folder: Path, out: Path, settings: Settings | None = None) -> None:
    """Load and derive a folder."""
    summary, settings = Summary("review"), settings or Settings()
    stages_load.load(folder, out, settings, "2026-10-01T00:00:00+00:00", summary, nothing)
    stages_load.derive(out, settings, summary, nothing)


@dataclass(frozen=True)
class Written:
    """One quarter's review: what was computed, and the shared edition."""

    quarter: str
    results: ResultSet
    shared: Shared


def one_quarter(out: Path, quarter: str, *, replace_shared: bool = False) -> Written:
    """Analyse a quarter and put its shared edition on record."""
    settings = Settings()
    stages_report.analyse(out, settings, quarter, Summary("analyse"), nothing)
    with edit_store(out / "store.duckdb") as store:
        results, _ = stages_report.read_results(store)
        meta = PageMeta("internal", quarter, "2026-09-30", "settings", "data", "0", "command")
        shared = shared_edition(store, results, meta, settings.small_cell_max, replace_shared=replace_shared)
        publish(store)
        keep(store, shared, settings.small_cell_max)
    return Written(quarter, results, shared)


def reviewed(scenario: Scenario, seed: int, base: Path, quarters: Sequence[str] = QUARTERS) -> list[Written]:
    """Simulate a service, load it once, and review each quarter; the store is base/out/store.duckdb."""
    load(write(tables(scenario, seed), base / "in"), base / "out")
    return [one_quarter(base / "out", quarter) for quarter in quarters]
