"""What happens to files between reading and judging: ages over 90 become 90, and the date policy holds."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl

from pipeline.contract import TABLES
from pipeline.contract.columns import EXPECTED
from pipeline.contract.people import FIRST_DAY, LAST_DAY
from pipeline.errors import IdentifierFound, RmtError, SettingsError
from pipeline.identity.day_offsets import (
    EPOCH,
    LIMITED,
    NOTES,
    POLICIES,
    RELATIVE,
    back_to_offsets,
    calendar_days,
    from_offsets,
)
from pipeline.identity.people import KEY, with_ages_told
from pipeline.ingest import Intake, RawTable
from pipeline.ingest.csv_file import whole
from pipeline.settings import Settings

if TYPE_CHECKING:
    from pipeline.stages import Summary
    from pipeline.store import Store
    from pipeline.validate import Verdict

NO_MANOMETERS = ("What was done to manometers (instruments) is not taken: one calendar event in the days of several "
                 "clients would tie their starts together. No repair, replacement or calibration is known.")


def day_columns(table: str) -> list[str]:
    """Return the day columns of a table of the contract."""
    return [c.name for c in TABLES[table].columns if c.kind == "day"]


def _dated(raw: RawTable) -> list[RmtError]:
    """Say which day columns hold calendar dates where only offsets may be told."""
    now = "rmt-outcomes surrogate DIR --offsets writes them so" if _is_about_people(raw) else \
        "leave this file out: its days belong to no client's own start"
    return [RmtError(f"refused: column {raw.place_of(c)} ({c}) holds calendar dates: {n} cells", where=raw.file,
                     expected="whole days from each client's own start (date_policy is relative)", now=now)
            for c, n in calendar_days(raw.rows, day_columns(raw.table)).items()]


def _is_about_people(raw: RawTable) -> bool:
    return KEY in TABLES[raw.table].column_names


def _without_nobodys(raw: RawTable, summary: Summary) -> None:
    """Say that a table about no person is left out: its days could be counted from nobody's start."""
    summary.lines.append(f"{raw.file}: left out, {raw.n_read} rows: their days belong to no client's own start.")
    summary.warnings.append({"rule": f"{raw.table}.no_own_start", "count": raw.n_read, "where": raw.file})


def check_policy(settings: Settings) -> None:
    """Raise SettingsError for a policy that is none, and for a calendar day among the settings of `relative`."""
    if settings.date_policy not in POLICIES:
        raise SettingsError("'date_policy' is none of the policies", expected=" or ".join(POLICIES), now="mend it")
    if settings.date_policy == RELATIVE and settings.data_until_on:
        raise SettingsError("'data_until_on' is a calendar day, and date_policy is relative",
                            expected="no calendar day", now="leave it out: data end with each client's own last row")


def at_the_door(intake: Intake, settings: Settings, summary: Summary) -> Intake:
    """Return the intake as it may be judged. IdentifierFound where calendar dates come in under `relative`."""
    check_policy(settings)
    is_relative = settings.date_policy == RELATIVE
    files, faults = [], list[RmtError]()
    for raw in intake.files:
        if is_relative or raw.table == "clients":
            raw = whole(raw)
        if is_relative:
            faults += _dated(raw)
            if not _is_about_people(raw):
                _without_nobodys(raw, summary)
                continue
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
        summary.lines += [NOTES[RELATIVE], NO_MANOMETERS]
    return replace(intake, files=tuple(files))


def policy_of(store: Store) -> str | None:
    """Return the date policy that the store was filled under; None while it holds no batch."""
    last = store.sql("select settings_text as t from received.batches order by batch_id desc limit 1")
    return str(json.loads(str(last["t"][0])).get("date_policy", LIMITED)) if last.height else None


def require_one_policy(store: Store, settings: Settings) -> None:
    """Raise SettingsError if the store was filled under the other date policy: the two must never mix."""
    check_policy(settings)
    policy = policy_of(store)
    if policy not in (None, settings.date_policy):
        raise SettingsError(f"this store was filled under date_policy {policy}", expected="one policy for a store",
                            now="load into another --out folder, or set date_policy back")


def told_when(moment: str, settings: Settings) -> str:
    """Return the moment of a run (ISO) as it may be kept: under `relative` only its year.

    The day of loading beside the last offset of someone still in training would tell the start within days.
    """
    return moment[:4] if settings.date_policy == RELATIVE else moment


def told_days(frame: pl.DataFrame, settings: Settings) -> pl.DataFrame:
    """Return a frame that is written out with its days as the policy tells them: under `relative` as offsets."""
    days = [n for n, kind in frame.schema.items() if kind == pl.Date]
    return back_to_offsets(frame, days) if settings.date_policy == RELATIVE else frame


def told_expected(verdict: Verdict, settings: Settings) -> Verdict:
    """Return the verdict as the policy tells what a day is: under `relative` a good cell is an offset, not a date."""
    if settings.date_policy != RELATIVE:
        return verdict
    low, high = ((dt.date.fromisoformat(day) - EPOCH).days for day in (FIRST_DAY, LAST_DAY))
    said = f"a whole number of days from the client's own start, {low} to {high}"
    is_day = pl.col("expected").str.starts_with(EXPECTED["day"])
    told = pl.when(is_day).then(pl.lit(said)).otherwise("expected").alias("expected")
    return replace(verdict, files=tuple(replace(f, set_aside=f.set_aside.with_columns(told)) for f in verdict.files))


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
