"""Keeps notes and decisions in the store batch by batch: an earlier review is rebuilt with those it knew."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipeline.contract.annotations import Annotation
from pipeline.store import Store

SCHEMA: dict[str, type[pl.DataType]] = {
    "kind": pl.String, "on_day": pl.Date, "text": pl.String, "sites": pl.String, "of_quarter": pl.String,
    "measure": pl.String, "followed": pl.String,
}  # fmt: skip
_NAMES = ", ".join(SCHEMA)


def as_frame(notes: Sequence[Annotation]) -> pl.DataFrame:
    """One row an annotation; the sites as one text, parted by a comma."""
    rows = [vars(a) | {"sites": ", ".join(a.sites)} for a in notes]
    return pl.DataFrame(rows, schema=SCHEMA, orient="row").sort(list(SCHEMA))


def notes_stand(store: Store, notes: Sequence[Annotation] | None) -> bool:
    """Tell whether the store holds just these; None (no file) asks for nothing."""
    if notes is None:
        return True
    held = store.sql(f"select {_NAMES} from received.annotations where to_batch is null order by all")
    return held.equals(as_frame(notes))


def keep_notes(store: Store, notes: Sequence[Annotation] | None, batch_id: int) -> None:
    """Close the rows that a new file no longer has, and add those that it has for the first time."""
    if notes is None:
        return
    same = " and ".join(f"old.{n} is not distinct from new.{n}" for n in SCHEMA)
    with store.frame("new_notes", as_frame(notes)):
        store.execute(f"update received.annotations as old set to_batch = $batch where to_batch is null "
                      f"and not exists (select 1 from new_notes as new where {same})", {"batch": batch_id})
        store.execute(f"insert into received.annotations ({_NAMES}, from_batch) select {_NAMES}, $batch "
                      f"from new_notes as new where not exists (select 1 from received.annotations as old "
                      f"where old.to_batch is null and {same})", {"batch": batch_id})
