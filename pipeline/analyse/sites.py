"""Sites side by side, in alphabetical order: records and logging first, then training, then gain, never a rank."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.analyse.common import Frames, Section, group
from pipeline.analyse.effects import put, twelve_week_gains
from pipeline.analyse.fits import Models, PressureModels
from pipeline.analyse.funnels import funnels
from pipeline.analyse.people import present
from pipeline.analyse.training import capped, of_people
from pipeline.results import ResultSet, parts_of
from pipeline.settings import Settings

PROCESS = ("logged_pct", "session_adherence_pct", "in_band_pct")


def _expected(section: Section, found: PressureModels, people: pl.DataFrame, where: str) -> None:
    """The mean gain at 12 weeks that the whole cohort's model gives for this site's protocols, dose and effort."""
    primary = found.working("primary")
    if primary is None or primary.look is None:
        return
    look = primary.look
    rows = primary.rows.filter(~pl.col("is_baseline"))
    at = people.select("client_key", "protocol", pl.col("at12_on").alias("tested_on"))
    columns = [c for c in ("dose_d", "effort_e") if c in rows.columns]
    known = at.join(rows.select("client_key", "tested_on", *columns), on=["client_key", "tested_on"], how="inner")
    known = known.filter(pl.col("protocol").is_in(sorted(look.protocols)))
    if known.is_empty():
        return
    weights = np.zeros(len(look.design.names))
    means = known.group_by("protocol").agg(pl.len().alias("n"), pl.col(columns).mean()).sort("protocol")
    for row in means.iter_rows(named=True):
        gain = look.gain(12.0, row["protocol"], dose=row["dose_d"], effort=row["effort_e"])
        weights = weights + gain * row["n"] / known.height
    put(section, "expected_gain_cmh2o", where, primary.read(weights), at=12.0,
        note="for this site's mix of protocols and its dose and effort, at the gain of all sites together")


def _records(section: Section, frames: Frames, site: str, quarter: str) -> None:
    """Add what was filled of what was expected, the rows set aside and the open questions: internal edition only."""
    where = group(site=site)
    due = frames["completeness"].filter((pl.col("quarter") == quarter) & (pl.col("site") == site))
    section.share("filled_pct", where, int(due["filled"].sum()), int(due["expected"].sum()), n_of="entries expected",
                  klass="client")
    for statistic, table, n_of in (("set_aside", "set_aside", "rows"), ("open_questions", "queries", "queries")):
        rows = frames[table].filter(pl.col("site") == site)
        section.add(statistic, where, n=rows.height, n_of=n_of, klass="client")


def sites(frames: Frames, quarter: str, models: Models, settings: Settings) -> ResultSet:
    """Section "sites"."""
    section = Section("quarter", "sites")
    now = of_people(frames, [quarter])
    here = present(frames, [quarter]).join(frames["courses"], on=["client_key", "course_no"], how="left")
    names = sorted(frames["courses"]["site"].unique().to_list())
    total = section.add("people", n=here.height)
    counts = [section.add("people", group(site=s), n=here.filter(pl.col("site") == s).height) for s in names]
    section.sum_of(total, counts)
    due = frames["completeness"].filter(pl.col("quarter") == quarter)
    section.share("filled_pct", "all", int(due["filled"].sum()), int(due["expected"].sum()), n_of="entries expected",
                  klass="client")
    for site in names:
        _records(section, frames, site, quarter)
        rows = now.filter(pl.col("site") == site)
        for column in PROCESS:
            section.median(column, group(site=site), rows.select(capped(column))[column], "%", of=rows.height)
        for pressure, found in models.items():
            people = twelve_week_gains(frames, pressure).filter(pl.col("site") == site)
            where = group(site=site, pressure=pressure)
            section.mean("raw_gain_cmh2o", where, people["gain12_cmh2o"], "cmH2O", at=12.0)
            _expected(section, found, people, where)
    expected = {parts_of(r.group)["site"]: r.value for r in section.rows
           if r.statistic == "expected_gain_cmh2o" and parts_of(r.group)["pressure"] == "mip" and r.value is not None}
    funnels(section, frames, expected, settings)
    return section.done()
