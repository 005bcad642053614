"""Instrument watch: did the figures step when a manometer was repaired, replaced, or came in under a new label?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

import polars as pl

from pipeline.analyse.common import PRESSURES, Frames, Section, floats, group, mean_interval
from pipeline.analyse.contrasts import centred
from pipeline.analyse.fits import Fitted, Models
from pipeline.results import ResultSet
from pipeline.stats import CannotFit, Contrast, MixedFit, fit_mixed

CHANGES = ("repaired", "replaced", "label first seen")
"""What can make a step; a calibration is listed with its day and not estimated."""
FEWEST_ACROSS = 8
"""People tested on both sides below which no step is estimated: a choice of ours, as for a protocol."""
KEPT = "the gain up to the last test before a change stands as it was measured"
NOT_TOLD = "What was done to manometers is not known: under the date policy relative its days are not taken."
METHOD = "mixed model of all comparable tests with a step within people, Kenward-Roger interval"


@dataclass(frozen=True)
class Change:
    """One change of a manometer at a site: from `on` the tests on `instrument` may read differently."""

    site: str
    instrument: str
    on: date
    what: str

    def where(self, pressure: str) -> str:
        """The group of its rows."""
        return group(pressure=pressure, site=self.site, instrument=self.instrument, on=self.on.isoformat())


def changes(frames: Frames, until: date) -> list[Change]:
    """Changes up to a day, in order; a new label that was also told as a replacement on that day counts once."""
    rows = frames["instruments"].filter(pl.col("what").is_in(CHANGES) & (pl.col("event_on") <= until))
    told = pl.col("source") == "told"
    rows = rows.with_columns(told.alias("is_told")).sort("event_on", "site", "instrument", "is_told", "what",
                                                         descending=[False, False, False, True, False])  # fmt: skip
    first = rows.unique(["site", "instrument", "event_on"], keep="first", maintain_order=True)
    named = first.select("site", "instrument", pl.col("event_on").alias("on"), "what")
    return [Change(**row) for row in named.iter_rows(named=True)]


def placed(frames: Frames, pressure: str) -> pl.DataFrame:
    """Site and instrument of each test day, and the day on which that site first used that instrument."""
    days = frames["test_days"].filter(pl.col("pressure") == pressure)
    days = days.select("client_key", "tested_on", pl.col("site").alias("site_of_day"),
                       pl.col("instrument").alias("used"))  # fmt: skip
    everything = frames["test_days"].drop_nulls("instrument")
    first = everything.group_by("site", "instrument").agg(pl.col("tested_on").min().alias("first_used_on"))
    return days.join(first, left_on=["site_of_day", "used"], right_on=["site", "instrument"], how="left")


def is_after(change: Change) -> pl.Expr:
    """Tests that the change may have moved: from its day on, at its site, on that instrument or one that came later."""
    same_or_later = (pl.col("used") == change.instrument) | (pl.col("first_used_on") > change.on)
    at_site = (pl.col("site_of_day") == change.site) & (pl.col("tested_on") >= change.on)
    return (at_site & (same_or_later | pl.col("used").is_null())).fill_null(False)


def with_steps(rows: pl.DataFrame, found: list[Change]) -> pl.DataFrame:
    """Add for change k: step_k_in (after the change, less the person's own share) and step_k_of (that share)."""
    after = rows.with_columns(is_after(c).cast(pl.Float64).alias(f"after_{k}") for k, c in enumerate(found))
    shares = after.with_columns(
        pl.col(f"after_{k}").mean().over("client_key").alias(f"step_{k}_of") for k in range(len(found))
    )
    return shares.with_columns(
        (pl.col(f"after_{k}") - pl.col(f"step_{k}_of")).alias(f"step_{k}_in") for k in range(len(found))
    )


def across(rows: pl.DataFrame, k: int) -> tuple[int, int]:
    """People with tests on both sides of change k, and their tests after it."""
    both = rows.filter((pl.col(f"step_{k}_of") > 0) & (pl.col(f"step_{k}_of") < 1))
    return both["client_key"].n_unique(), int(both[f"after_{k}"].sum())


def step_fit(model: Fitted, rows: pl.DataFrame, used: list[int]) -> MixedFit | None:
    """One model with the step of each change in `used` as a term `step_<k>_in`; None where it cannot be fitted."""
    added = [f"step_{k}_{part}" for k in used for part in ("in", "of")]
    mean = " + ".join([model.built.model.mean, *added])
    try:
        return fit_mixed(centred(rows, model.built), replace(model.built.model, mean=mean))
    except CannotFit:
        return None


def fitted_steps(model: Fitted, rows: pl.DataFrame, used: list[int]) -> dict[int, Contrast]:
    """The step of each change in `used`, from one model with all of them; empty where it cannot be fitted."""
    fit = step_fit(model, rows, used)
    read = {k: read_steps(fit, {k: 1.0}) for k in used} if fit is not None else {}
    return {k: found for k, found in read.items() if found is not None}


def read_steps(fit: MixedFit, shares: Mapping[int, float]) -> Contrast | None:
    """The steps of changes added up, each times its share; None where the fit does not give it."""
    if fit.state_kind not in ("interior", "variance zero"):
        return None
    try:
        found = fit.contrast({f"step_{k}_in": share for k, share in shares.items()})
    except CannotFit:
        return None
    return found if isinstance(found, Contrast) else None


def rows_across(model: Fitted, frames: Frames, pressure: str, found: list[Change]) -> tuple[pl.DataFrame, list[int]]:
    """The model's rows with the step columns of every change, and the changes that enough people were tested across."""
    rows = model.rows.join(placed(frames, pressure), on=["client_key", "tested_on"], how="left")
    rows = with_steps(rows.sort("client_key", "tested_on"), found)
    return rows, [k for k in range(len(found)) if across(rows, k)[0] >= FEWEST_ACROSS]


def steps(section: Section, frames: Frames, models: Models, pressure: str, found: list[Change]) -> None:
    """Add a row for every change: the mean step within people, or why it cannot be given."""
    model = models[pressure].working("as_delivered")
    if model is None:
        for change in found:
            section.add("step_cmh2o", change.where(pressure), unit="cmH2O", text="no model to take it from")
        return
    rows, used = rows_across(model, frames, pressure, found)
    seen = {k: across(rows, k) for k in range(len(found))}
    read = fitted_steps(model, rows, used)
    for k, change in enumerate(found):
        people, tests = seen[k]
        same = {"n": people, "unit": "cmH2O", "note": f"{change.what}; {KEPT}"}
        if k in read:
            section.add("step_cmh2o", change.where(pressure), value=read[k].estimate, low=read[k].low,
                        high=read[k].high, method=METHOD, **same)  # fmt: skip
        else:
            why = "the model cannot give this" if k in used else "too few people tested on both sides"
            section.add("step_cmh2o", change.where(pressure), text=why, **same)
        section.add("tests_after", change.where(pressure), n=tests, n_of="tests", n_people=people)


def bridges(section: Section, frames: Frames) -> None:
    """Add for every two manometers used on the same day with the same person: second less first, paired."""
    pairs = frames["instrument_pairs"].sort("site", "pressure", "first_instrument", "second_instrument", "tested_on")
    by = ["site", "pressure", "first_instrument", "second_instrument"]
    for (site, pressure, first, second), rows in pairs.group_by(by, maintain_order=True):
        where = group(pressure=str(pressure), site=str(site), instruments=f"{second} - {first}")
        each = rows.group_by("client_key", maintain_order=True).agg(
            (pl.col("second_cmh2o") - pl.col("first_cmh2o")).mean().alias("difference"))  # fmt: skip
        values = floats(each["difference"])
        low, high = mean_interval(values)
        section.add("paired_difference_cmh2o", where, n=each.height, value=float(values.mean()), low=low, high=high,
                    unit="cmH2O", method="mean over people of same-day differences, 95 % interval of Student's t",
                    note="the best acceptable effort on each; one person counts once")  # fmt: skip
    if pairs.is_empty():
        section.add("paired_difference_cmh2o", text="no day with two manometers: nothing bridges them", unit="cmH2O")


def calibrations(section: Section, frames: Frames, until: date) -> None:
    """Add how often and when each manometer was last calibrated."""
    rows = frames["instruments"].filter((pl.col("what") == "calibrated") & (pl.col("event_on") <= until))
    last_on = pl.col("event_on").max().alias("last_on")
    counted = rows.group_by("site", "instrument").agg(pl.len().alias("times"), last_on)
    for site, instrument, times, day in counted.sort("site", "instrument").iter_rows():
        section.add("last_calibrated", group(site=site, instrument=instrument), text=day.isoformat(), n=times,
                    n_of="calibrations", n_people=0)  # fmt: skip


def instrument_watch(frames: Frames, models: Models, until: date, *, is_told: bool = True) -> ResultSet:
    """Section "instruments" of the quarter. until: the last day of the look; later events stay out.

    is_told: False where the date policy lets no day of a manometer in.
    """
    section = Section("quarter", "instruments")
    found = changes(frames, until)
    if not found:
        section.state("No repair, replacement or new label of a manometer is in the data." if is_told else NOT_TOLD)
    for pressure in PRESSURES:
        if found and pressure in models:
            steps(section, frames, models, pressure, found)
    bridges(section, frames)
    calibrations(section, frames, until)
    return section.done()
