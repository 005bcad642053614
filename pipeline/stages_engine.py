"""`--engine`: a derivation outside the store, and what is said of it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.settings import Settings

if TYPE_CHECKING:
    from pipeline.derive import DeriveSummary
    from pipeline.engines import Choice, Desk, Engine
    from pipeline.results import ResultSet
    from pipeline.stages import Progress, Summary
    from pipeline.store import Store

#: The folder of tables beside the store while they are made. It holds rows of clients; `forget` removes it.
TABLES = "tables"


@dataclass(frozen=True)
class OnlySums:
    """That only sums are to come back, and what is computed from them for a quarter (None: the last full one)."""

    quarter: str | None = None


def derive_by(
    choice: Choice, store: Store, out: Path, settings: Settings, summary: Summary, progress: Progress,
    as_of_batch: int | None = None, only_sums: OnlySums | None = None,
) -> DeriveSummary:
    """Build the derived tables by the engine chosen; a build that breaks off is gone on with by the next run."""
    from pipeline.derive_elsewhere import HOME, HOME_OF_SUMS, bring_home, make_tables, open_desk
    from pipeline.engines import opened
    from pipeline.stages_report import refuse_quarter
    if only_sums is not None:  # before hours of tables
        refuse_quarter(only_sums.quarter, settings, only_sums=True)
    slices, how = _slices(choice, settings, store)
    label = choice.label(slices)
    with opened(choice, slices, out / TABLES / "_spill") as engine:
        desk = open_desk(store, out / TABLES, label, settings, as_of_batch)
        order = make_tables(store, settings, engine, desk, as_of_batch=as_of_batch, progress=progress)
        told = None if only_sums is None else _from_sums(engine, desk, store, only_sums, settings, progress)
        with store.transaction():
            built = bring_home(store, desk, order, HOME if told is None else HOME_OF_SUMS)
            if told is not None:
                _keep(store, *told, settings, summary)
    went_on = f"; went on from {desk.went_on_from} finished tables" if desk.went_on_from else ""
    summary.lines.append(f"Derived by {label}{how}{went_on}.")
    desk.clear()
    return built


def _slices(choice: Choice, settings: Settings, store: Store) -> tuple[int, str]:
    """How many slices of clients, and what told so where the command did not."""
    from pipeline.derive_elsewhere import largest_received
    from pipeline.engines.slices import by_size
    if choice.address or choice.slices:
        return max(choice.slices, 1), ""
    if settings.engine_slices > 0:
        return settings.engine_slices, ", by the settings"
    return by_size(largest_received(store)), ", by the size of the input"


def _from_sums(
    engine: Engine, desk: Desk, store: Store, wanted: OnlySums, settings: Settings, progress: Progress
) -> tuple[ResultSet, str]:
    """Compute the results that need sums only, before anything in the store changes; and the quarter they are for."""
    from pipeline.analyse import analyse_sums
    from pipeline.derive_elsewhere import table_of
    from pipeline.derive_sums import AtEngine
    from pipeline.identity.quarters import last_full
    until = table_of(desk, "settled.span")["data_until_on"][0]
    quarter = wanted.quarter or last_full(until)
    at = AtEngine(engine, desk.folder / "_sums", lambda number: progress(f"models, question {number}", 0, 1))
    return analyse_sums(at, store.table("received.plans"), settings, quarter, until), quarter


def _keep(store: Store, results: ResultSet, quarter: str, settings: Settings, summary: Summary) -> None:
    from pipeline.stages_report import keep_results
    keep_results(store, results, quarter, settings, summary, only_sums=True)
    summary.lines.append("No table of rows came back: what needs single rows is not among the results.")
