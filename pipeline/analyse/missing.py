"""Who has no 12-week test, how they differ, and how far the lost would have to fall to change a difference."""

from __future__ import annotations

import polars as pl

from pipeline.analyse.common import Frames, Section, data_until, group
from pipeline.analyse.fits import Models, PressureModels
from pipeline.analyse.people import NOT_YET, eligible, with_exits
from pipeline.results import ResultSet
from pipeline.settings import Settings


def _due(frames: Frames, pressure: str, settings: Settings) -> pl.DataFrame:
    """People with a baseline whose 12-week window has passed, with `has_outcome` and the adherence of the course."""
    people = with_exits(eligible(frames, pressure), data_until(frames), settings).filter(
        pl.col("baseline_cmh2o").is_not_null() & (pl.col("exit_reason").is_null() | (pl.col("exit_reason") != NOT_YET))
    )
    done = frames["adherence"].select("client_key", "course_no", "session_adherence_pct")
    return people.join(done, on=["client_key", "course_no"], how="left").with_columns(
        pl.col("gain12_cmh2o").is_not_null().alias("has_outcome")).sort("client_key")  # fmt: skip


def _missing_time(found: PressureModels) -> pl.DataFrame:
    """Share of the 12 weeks after each person's last test, in 12-week units: client_key, protocol, lost."""
    last = found.rows.group_by("client_key", "protocol").agg(pl.col("time12").max()).sort("client_key")
    return last.with_columns((1.0 - pl.col("time12")).clip(0.0, 1.0).alias("lost"))


def _tipping(section: Section, found: PressureModels, where: str) -> None:
    """Fall per 12 weeks after the last test, the same in both protocols, that takes a difference to 0.

    The mean gain of a protocol falls by delta times its mean missing time, so the difference moves by delta times the
    difference of those means.
    """
    primary = found.working("primary")
    if primary is None or primary.look is None or found.gate is None or not found.gate.answers["protocol"].is_open:
        return
    lost = dict(_missing_time(found).group_by("protocol").agg(pl.col("lost").mean()).iter_rows())
    for a, b in found.pairs:
        contrast = primary.read(primary.look.difference(a, b, 12.0))
        apart = lost.get(a, 0.0) - lost.get(b, 0.0)
        at = f"{where};protocols={a} - {b}"
        fall = None if contrast is None or abs(apart) < 1e-9 else contrast.estimate / apart
        if fall is None or fall <= 0:
            section.add("tipping_slope_cmh2o", at, at=12.0, unit="cmH2O per 12 weeks",
                        text="no fall of the lost takes this difference to nothing: it would widen it")
            continue
        section.add("tipping_slope_cmh2o", at, at=12.0, value=fall, unit="cmH2O per 12 weeks",
                    method="difference over the difference of the mean time without a test",
                    note="a fall below what the model expects, in the people without a later test of both protocols")


def missing_outcome(frames: Frames, models: Models, settings: Settings) -> ResultSet:
    """Section "missing_outcome"."""
    section = Section("protocols", "missing_outcome")
    for pressure, found in models.items():
        where = group(pressure=pressure)
        people = _due(frames, pressure, settings)
        if people.is_empty():
            section.state("No one with a baseline has passed the 12-week window yet.", group=where)
            continue
        for protocol in sorted(people["protocol"].unique().to_list()):
            here = people.filter(pl.col("protocol") == protocol)
            lacking = here.filter(~pl.col("has_outcome")).height
            section.share("lacks_outcome", f"{where};protocol={protocol}", lacking, here.height, at=12.0)
        for label, has in (("yes", True), ("no", False)):
            here = people.filter(pl.col("has_outcome") == has)
            section.mean("baseline_cmh2o", f"{where};outcome={label}", here["baseline_cmh2o"], "cmH2O")
            section.median("adherence_pct", f"{where};outcome={label}", here["session_adherence_pct"], "%")
        _tipping(section, found, where)
    return section.done()
