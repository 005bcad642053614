"""Who has no 12-week test, and how they differ from those who have one."""

from __future__ import annotations

import polars as pl

from pipeline.analyse.common import Frames, Section, group
from pipeline.analyse.fits import Models
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


def missing_outcome(frames: Frames, models: Models) -> ResultSet:
    """Section "missing_outcome"."""
    section = Section("protocols", "missing_outcome")
    for pressure in models:
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
    return section.done()
