"""What the store's history gives back: an earlier review, and the rows set aside for correction."""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline import settings as settings_file
from pipeline.errors import StoreError
from pipeline.stages import Output, Summary
from pipeline.stages_load import STORE

if TYPE_CHECKING:
    from pipeline.settings import Settings
    from pipeline.stages import Progress


def _settings_of(out: Path, batch: int) -> Settings:
    """Return the settings that a batch was loaded with; StoreError if there is no such batch."""
    from pipeline.store import open_store
    with open_store(out / STORE, read_only=True) as store:
        found = store.sql("select settings_text from received.batches where batch_id = $batch", {"batch": batch})
        last = store.sql("select coalesce(max(batch_id), 0) as n from received.batches")["n"][0]
    if found.is_empty():
        raise StoreError(f"the store holds no batch {batch}", expected=f"a batch from 1 to {last}",
                         now="choose one of these")
    return settings_file.from_mapping(json.loads(found["settings_text"][0]), f"batch {batch}")


def _say_erased(place: Path, batch: int, summary: Summary) -> None:
    """Say where this review cannot be what it was, because somebody has withdrawn consent since."""
    from pipeline.store import open_store
    from pipeline.store.erasing import erasure_note
    with open_store(place / STORE, read_only=True) as store:
        if note := erasure_note(store, batch):
            summary.faults.append(note)
            summary.warnings.append({"rule": "batch.person_erased", "count": 1, "where": f"batch {batch}"})


def _leave_out_later_reviews(place: Path, batch: int, quarter: str | None, settings: Settings) -> None:
    """Take out of a copy of the store the plans and the reviews that were written after the one to be rebuilt: it knew
    none of them, not even those of earlier quarters."""
    from pipeline.stages_plan import leave_out_later
    from pipeline.stages_published import written_before
    from pipeline.stages_report import reported
    from pipeline.store import edit_store
    with edit_store(place / STORE) as store:
        asked = reported(store, quarter, settings)
        leave_out_later(store, batch, asked)
        last = written_before(store, asked, batch, settings)
        for table in ("published", "reviews") if last is not None else ():
            store.execute(f"delete from results.{table} where review_no > {last}")


def review_as_of(
    batch: int, out: Path, settings_path: Path | None, quarter: str | None, written_at: str, progress: Progress
) -> Summary:
    """Rebuild the review that followed the load of `batch`, into out/as_of_<batch>; nothing else changes.

    It works on a copy of the store, which it takes away again. Without a settings file the batch's own settings hold.
    """
    from pipeline import stages_load, stages_report
    settings = settings_file.load(settings_path) if settings_path else _settings_of(out, batch)
    place, summary = out / f"as_of_{batch}", Summary("review")
    place.mkdir(parents=True, exist_ok=True)
    try:
        shutil.copyfile(out / STORE, place / STORE)
        _say_erased(place, batch, summary)
        stages_load.derive(place, settings, summary, progress, as_of_batch=batch)
        _leave_out_later_reviews(place, batch, quarter, settings)
        stages_report.analyse(place, settings, quarter, summary, progress)
        return stages_report.report(place, settings, written_at, summary, progress)
    finally:
        for file in (STORE, f"{STORE}.lock"):
            (place / file).unlink(missing_ok=True)


def set_aside(folder: Path, out: Path) -> Summary:
    """Write the rows now set aside into `folder`, one CSV a table, ready to be corrected and loaded."""
    from pipeline.identity.day_offsets import RELATIVE, back_to_offsets
    from pipeline.stages_door import day_columns, policy_of
    from pipeline.store import open_store
    from pipeline.validate import open_rows
    summary = Summary("set-aside")
    with open_store(out / STORE, read_only=True) as store:
        tables = open_rows(store)
        if policy_of(store) == RELATIVE:  # as they came in, or they could not be loaded back
            tables = {n: back_to_offsets(rows, day_columns(n)) for n, rows in tables.items()}
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in tables.items():
        path = folder / f"{name}.csv"
        text = rows.write_csv().encode()
        with path.open("xb") as file:  # never over corrections that someone has written
            file.write(text)
        summary.outputs.append(Output(path.as_posix(), hashlib.sha256(text).hexdigest(), len(text)))
        summary.lines.append(f"{path.name}: {rows.height} rows set aside")
    summary.counts = {"rows_set_aside": sum(rows.height for rows in tables.values())}
    summary.lines.append("Next: correct the empty cells that the last column names, take out rows you cannot settle, "
                         "then rmt-outcomes load DIR" if tables else "No rows are set aside.")
    return summary
