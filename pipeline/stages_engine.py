"""`--engine`: a derivation outside the store, and what is said of it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.settings import Settings

if TYPE_CHECKING:
    from pipeline.derive import DeriveSummary
    from pipeline.engines import Choice
    from pipeline.stages import Progress, Summary
    from pipeline.store import Store

#: The folder of tables beside the store while they are made. It holds rows of clients; `forget` removes it.
TABLES = "tables"


def derive_by(
    choice: Choice, store: Store, out: Path, settings: Settings, summary: Summary, progress: Progress,
    as_of_batch: int | None = None,
) -> DeriveSummary:
    """Build the derived tables by the engine chosen; a build that breaks off is gone on with by the next run."""
    from pipeline.derive_elsewhere import derive_elsewhere, largest_received, open_desk
    from pipeline.engines import opened
    from pipeline.engines.slices import by_size
    slices = choice.slices or by_size(largest_received(store))
    label = choice.label(slices)
    with opened(choice, slices, out / TABLES / "_spill") as engine:
        desk = open_desk(store, out / TABLES, label, settings, as_of_batch)
        built = derive_elsewhere(store, settings, engine, desk, as_of_batch=as_of_batch, progress=progress)
    how = "" if choice.address or choice.slices else ", by the size of the input"
    went_on = f"; went on from {desk.went_on_from} finished tables" if desk.went_on_from else ""
    summary.lines.append(f"Derived by {label}{how}{went_on}.")
    desk.clear()
    return built
