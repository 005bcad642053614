"""What happens to files between reading and judging: ages over 90 become 90, and the date policy holds."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl

from pipeline.contract import TABLES
from pipeline.errors import IdentifierFound, RmtError, SettingsError
from pipeline.identity.day_offsets import LIMITED, NOTES, POLICIES, RELATIVE, calendar_days, from_offsets
from pipeline.identity.people import with_ages_told
from pipeline.ingest import Intake, RawTable
from pipeline.ingest.csv_file import walk_blocks
from pipeline.settings import Settings

if TYPE_CHECKING:
    from pipeline.stages import Summary
    from pipeline.store import Store


def whole(raw: RawTable) -> RawTable:
    """Return a table with its rows, a large file that was only surveyed being walked."""
    if raw.scan is None:
        return raw
    blocks = list(walk_blocks(raw, raw.scan))
    broken = tuple(b for block in blocks for b in block.broken)
    return replace(raw, rows=pl.concat([b.rows for b in blocks]), broken=broken, scan=None)


def day_columns(table: str) -> list[str]:
    """Return the day columns of a table of the contract."""
    return [c.name for c in TABLES[table].columns if c.kind == "day"]


def _dated(raw: RawTable) -> list[RmtError]:
    """Say which day columns hold calendar dates, or open episodes, where only offsets may be told."""
    said = [RmtError(f"refused: column {raw.place_of(c)} ({c}) holds calendar dates: {n} cells", where=raw.file,
                     expected="whole days from each client's own start (date_policy is relative)",
                     now="rmt-outcomes surrogate DIR --offsets writes them so")
            for c, n in calendar_days(raw.rows, day_columns(raw.table)).items()]
    if raw.table == "episodes":
        n_open = raw.rows["to_on"].null_count() if "to_on" in raw.headings else raw.rows.height
        if n_open:
            said.append(RmtError(f"refused: {n_open} episodes have no to_on", where=raw.file,
                                 expected="the last day that the record of each episode reaches: with days told from "
                                          "each client's own start nothing else tells where a record ends",
                                 now="rmt-outcomes surrogate DIR --offsets writes it"))
    return said


def at_the_door(intake: Intake, settings: Settings, summary: Summary) -> Intake:
    """Return the intake as it may be judged. IdentifierFound where calendar dates come in under `relative`."""
    if settings.date_policy not in POLICIES:
        raise SettingsError("'date_policy' is none of the policies", expected=" or ".join(POLICIES), now="mend it")
    is_relative = settings.date_policy == RELATIVE
    files, faults = [], list[RmtError]()
    for raw in intake.files:
        if is_relative or raw.table == "clients":
            raw = whole(raw)
        if is_relative:
            faults += _dated(raw)
            raw = replace(raw, rows=from_offsets(raw.rows, day_columns(raw.table)))
        if raw.table == "clients":
            rows, n = with_ages_told(raw.rows)
            raw = replace(raw, rows=rows)
            if n:
                summary.lines.append(f"{raw.file}: {n} ages over 90 became 90, which stands for 90 or over.")
                summary.warnings.append({"rule": "clients.age_years.over_90", "count": n, "where": raw.file})
        files.append(raw)
    if faults:
        raise IdentifierFound(faults)
    if is_relative:
        summary.lines.append(NOTES[RELATIVE])
    return replace(intake, files=tuple(files))


def require_one_policy(store: Store, settings: Settings) -> None:
    """Raise SettingsError if the store was filled under the other date policy: the two must never mix."""
    last = store.sql("select settings_text as t from received.batches order by batch_id desc limit 1")
    policy = json.loads(str(last["t"][0])).get("date_policy", LIMITED) if last.height else settings.date_policy
    if policy != settings.date_policy:
        raise SettingsError(f"this store was filled under date_policy {policy}", expected="one policy for a store",
                            now="load into another --out folder, or set date_policy back")


def for_deriving(store: Store, settings: Settings, as_of_batch: int | None) -> Settings:
    """Return the settings to derive by: under `relative` the data end on the last stored day of anybody.

    Rows of the client followed longest must not be taken for slips of the pen, as a lone late row is in calendar time.
    """
    require_one_policy(store, settings)
    if settings.date_policy != RELATIVE or settings.data_until_on:
        return settings
    batch = 2**62 if as_of_batch is None else as_of_batch
    when = f"from_batch <= {batch} and (to_batch is null or to_batch > {batch})"
    days = [f"select max({c}) as d from received.{t} where {when}" for t in TABLES for c in day_columns(t)]
    last = store.sql("select max(d) as d from (" + " union all ".join(days) + ")")["d"][0]
    return replace(settings, data_until_on=str(last)) if last else settings


def with_door(read: Callable[[], Intake], out: Path | None, settings: Settings, summary: Summary) -> Intake:
    """Read by `read`, hold a store at `out` to its date policy, and bring the intake through the door."""
    from pipeline.errors import StoreError
    from pipeline.store import open_store
    if out is not None and out.exists():
        try:
            with open_store(out, read_only=True) as store:
                require_one_policy(store, settings)
        except StoreError:
            pass  # the writer says what is wrong with the store
    return at_the_door(read(), settings, summary)
