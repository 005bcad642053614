"""Who has no 12-week test, how they differ, and how far the lost would have to fall to change a difference."""

from __future__ import annotations

import polars as pl

from pipeline.analyse.common import Frames, Section, group
from pipeline.analyse.fits import Models, PressureModels
from pipeline.analyse.people import eligible
from pipeline.results import Partition, ResultSet


def leave_key(where: str, protocol: str) -> str:
    """Key of the row of "compared" that counts the same people as lacking an outcome."""
    return f"protocols.compared.leave[{where};protocol={protocol};step=window12;reason=any reason]@4"


def _with_outcome(frames: Frames, pressure: str) -> pl.DataFrame:
    """People with a baseline, `has_outcome` (a 12-week test) and the adherence of the course."""
    people = eligible(frames, pressure).filter(pl.col("baseline_cmh2o").is_not_null())
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


def missing_outcome(frames: Frames, models: Models) -> ResultSet:
    """Section "missing_outcome"."""
    section = Section("protocols", "missing_outcome")
    for pressure, found in models.items():
        where = group(pressure=pressure)
        people = _with_outcome(frames, pressure)
        if people.is_empty():
            section.state("No one has a baseline.", group=where)
            continue
        for protocol in sorted(people["protocol"].unique().to_list()):
            here = people.filter(pl.col("protocol") == protocol)
            lacking = here.filter(~pl.col("has_outcome")).height
            row = section.share("lacks_outcome", f"{where};protocol={protocol}", lacking, here.height, at=12.0,
                                note="people whose 12 weeks are not over yet are among them")
            section.sums.append(Partition(row.key, (leave_key(where, protocol),)))
        for label, has in (("yes", True), ("no", False)):
            here = people.filter(pl.col("has_outcome") == has)
            at = f"{where};outcome={label}"
            section.mean("baseline_cmh2o", at, here["baseline_cmh2o"], "cmH2O")
            section.median("adherence_pct", at, here["session_adherence_pct"], "%", of=here.height)
        _tipping(section, found, where)
    return section.done()
