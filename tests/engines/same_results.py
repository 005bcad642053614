"""Compares results that were computed from an engine's sums with those from rows: numbers to 1e-8, all else exactly."""

from __future__ import annotations

import dataclasses
import time
from datetime import date
from pathlib import Path

import polars as pl

from pipeline.analyse import analyse_sums, can_answer, fit_models, plans
from pipeline.analyse.common import Frames, join
from pipeline.analyse.earlier import until_quarter
from pipeline.analyse.gains import gains
from pipeline.analyse.protocol_models import difference, dose_response, fitted
from pipeline.derive_sums import AtEngine
from pipeline.engines import opened, parse
from pipeline.results import Result, ResultSet
from pipeline.settings import Settings
from pipeline.stages_frames import data_until, frames_of
from pipeline.store import Store

TOLERANCE = 1e-8
TAKEN = Result("protocols", "fitted", "taken", text="people who agreed to research use")
"""What results from sums say beside, where a plan takes those only who agreed; from rows the plan's own rows do."""
NEED_ROWS = ("protocols.dose_response.adherence_decile_pct",)
MODELLED = ("quarter.gains.gain_cmh2o[", "quarter.gains.gain_curve_cmh2o[")
SECTIONS = {("common", "data"), ("common", "can_answer"), ("protocols", "fitted"), ("protocols", "difference"),
            ("protocols", "dose_response")}


READ = ("model", "courses", "client_quarters", "client_weeks", "test_days")
"""Tables of the schema `frames` that the questions read."""


def from_sums(
    store: Store, word: str, folder: Path, settings: Settings, quarter: str, registered: pl.DataFrame | None = None
) -> ResultSet:
    """Results from sums of an engine that is given the tables of a store; registered: other plans than the store's."""
    choice = parse(word)
    assert choice is not None
    with opened(choice, choice.slices, folder / "_spill") as engine:
        for name in READ:
            place = folder / f"frames.{name}"
            place.mkdir()
            store.write_parquet(f"frames.{name}", place / "rows.parquet")
            engine.table(f"frames.{name}", place)
        until = date.fromisoformat(data_until(store))
        known = store.table("received.plans") if registered is None else registered
        return analyse_sums(AtEngine(engine, folder / "sums"), known, settings, quarter, until)


def from_rows(frames: Frames, settings: Settings, quarter: str) -> ResultSet:
    """The same sections from the frames, as `analyse` makes them."""
    seen = until_quarter(frames, quarter, settings)
    models = fit_models(seen, settings)
    is_whole = seen is plans.taken(seen)
    taken = models if is_whole else fit_models(plans.taken(seen), settings)
    return join([ResultSet(() if is_whole else (TAKEN,)), can_answer.results(seen, settings, quarter, models),
                 gains(seen, settings, models), fitted(taken, settings), difference(taken, settings),
                 dose_response(taken)])


def unlike(found: Result, expected: Result) -> list[str]:
    """Names of the fields in which two results differ."""
    out = []
    for field in dataclasses.fields(Result):
        a, b = getattr(found, field.name), getattr(expected, field.name)
        near = isinstance(a, float) and isinstance(b, float) and abs(a - b) <= TOLERANCE * max(1.0, abs(b))
        out += [] if a == b or near else [f"{found.key} {field.name}: {a} and {b}"]
    return out


def differing(found: ResultSet, expected: ResultSet) -> list[str]:
    """What differs between results from sums and from rows; every row of SECTIONS is looked for in both."""
    rows = {r.key: r for r in expected.rows}
    said = [line for r in found.rows for line in (unlike(r, rows[r.key]) if r.key in rows else [f"{r.key}: only here"])]
    wanted = {k for k, r in rows.items() if k.startswith(MODELLED)
              or ((r.report, r.section) in SECTIONS and not k.startswith(NEED_ROWS))}
    return said + [f"{k}: missing" for k in sorted(wanted - {r.key for r in found.rows})]


class AgainstRows:
    """To be called with an engine that holds the tables of a store: its results from sums against those from rows."""

    def __init__(self, store: Store, quarter: str = "2026Q3") -> None:
        """The store's own tables are there already."""
        self._quarter, self._until = quarter, date.fromisoformat(data_until(store))
        self._plans, self._rows = store.table("received.plans"), from_rows(frames_of(store), Settings(), quarter)
        self.many, self.seconds, self.unlike = 0, 0.0, ["not asked"]

    def __call__(self, at: AtEngine) -> None:
        """Ask and compare."""
        begun = time.perf_counter()
        found = analyse_sums(at, self._plans, Settings(), self._quarter, self._until)
        self.seconds, self.many = time.perf_counter() - begun, len(found.rows)
        self.unlike = differing(found, self._rows)

    @property
    def told(self) -> str:
        """How it went, in words."""
        of = f"{self.many} results from sums, in {self.seconds:.0f} s, "
        return of + ("equal those from rows" if not self.unlike else f"differ: {self.unlike}")
