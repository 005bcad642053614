"""Scored predictions: what the last review foresaw, against the first test that each person had since."""

from __future__ import annotations

import numpy as np
import polars as pl
from scipy.special import ndtr

from pipeline.analyse.common import PRESSURES, Frames, Section, group
from pipeline.identity.quarters import days_told
from pipeline.results import ResultSet
from pipeline.settings import Settings

NONE_KEPT = "No review of an earlier quarter is kept in this store: no prediction to score yet."
WIDTH_95 = 2 * 1.959964
"""Width of a 95 % interval of the normal distribution in SDs."""
LATEST_WEEKS = 13.0
EARLIEST_WEEKS = 0.0
PREDICTED = {"client_key": pl.String, "pressure": pl.String, "weeks_on": pl.Float64, "value": pl.Float64,
             "low": pl.Float64, "high": pl.Float64, "look_on": pl.Date}  # fmt: skip


def kept_predictions(rows: pl.DataFrame) -> pl.DataFrame:
    """The predictions among the kept rows of a review, one row a client, pressure and horizon."""
    mine = rows.filter(pl.col("key").str.starts_with("stalled.predictions.prediction_cmh2o["))
    inside = pl.col("key").str.extract(r"\[(.*)\]@").str.split(";pressure=")
    return mine.select(
        inside.list.get(0).alias("client_key"), inside.list.get(1).alias("pressure"),
        pl.col("key").str.extract(r"@(.*)$").cast(pl.Float64).alias("weeks_on"), "value", "low", "high",
        days_told("text").alias("look_on"),
    ).cast(dict(PREDICTED)).sort("client_key", "pressure", "weeks_on")  # type: ignore[arg-type]


def kept_states(rows: pl.DataFrame) -> pl.DataFrame:
    """The states among the kept rows of a review: client_key, pressure, state."""
    mine = rows.filter(pl.col("key").str.starts_with("stalled.worklist.state["))
    inside = pl.col("key").str.extract(r"\[(.*)\]").str.split(";pressure=")
    return mine.select(inside.list.get(0).alias("client_key"), inside.list.get(1).alias("pressure"),
                       pl.col("text").alias("state")).sort("client_key", "pressure")  # fmt: skip


def first_tests_after(frames: Frames, looks: pl.DataFrame) -> pl.DataFrame:
    """Each person's first comparable test after their look, with its baseline; one row a client and pressure.

    looks: client_key, look_on.
    """
    rows = frames["model"].filter(pl.col("is_primary"))
    base = rows.filter(pl.col("is_baseline")).select("client_key", "pressure",
                                                     pl.col("value_cmh2o").alias("baseline_cmh2o"))  # fmt: skip
    later = rows.join(looks, on="client_key", how="inner", maintain_order="left").filter(
        (pl.col("tested_on") > pl.col("look_on")) & ~pl.col("is_baseline")).sort("tested_on")  # fmt: skip
    first = later.unique(["client_key", "pressure"], keep="first", maintain_order=True)
    first = first.select("client_key", "pressure", "tested_on", "value_cmh2o")
    return first.join(base, on=["client_key", "pressure"], how="inner").sort("client_key", "pressure")


def matched(predictions: pl.DataFrame, tests: pl.DataFrame) -> pl.DataFrame:
    """Tests beside what was foreseen for their day, along straight lines between the horizons.

    Adds expected_cmh2o, sd_cmh2o (of one test), is_inside. Tests later than the last horizon stay out.
    """
    out = []
    looks = dict(predictions.group_by("client_key", "pressure", maintain_order=True))
    for row in tests.iter_rows(named=True):
        seen = looks.get((row["client_key"], row["pressure"]))
        if seen is None:
            continue
        weeks = (row["tested_on"] - seen["look_on"][0]).days / 7
        if not EARLIEST_WEEKS < weeks <= LATEST_WEEKS:
            continue
        value, low, high = (float(np.interp(weeks, seen["weeks_on"], seen[c])) for c in ("value", "low", "high"))
        out.append(row | {"expected_cmh2o": value, "sd_cmh2o": (high - low) / WIDTH_95,
                          "is_inside": low <= row["value_cmh2o"] <= high})
    kinds = dict(tests.schema) | {"expected_cmh2o": pl.Float64, "sd_cmh2o": pl.Float64, "is_inside": pl.Boolean}
    return pl.DataFrame(out, schema=kinds, orient="row")


def brier(probability: np.ndarray, happened: np.ndarray) -> tuple[float, float]:
    """Brier score of foreseen probabilities, and that of foreseeing the share that happened for everybody.

    Source: Brier GW 1950, Monthly Weather Review 78:1-3, in the form for two outcomes: mean((p - o)^2).
    """
    share = float(happened.mean())
    return float(((probability - happened) ** 2).mean()), share * (1 - share)


def _score(section: Section, where: str, rows: pl.DataFrame, target_cmh2o: float) -> None:
    section.add("tested_since", where, n=rows.height)
    section.share("inside_pct", where, int(rows["is_inside"].sum()), rows.height,
                  note="of intervals made to hold 95 % of single tests")  # fmt: skip
    error = rows["value_cmh2o"] - rows["expected_cmh2o"]
    section.mean("test_less_expected_cmh2o", where, error, "cmH2O",
                 note="above 0: people did better than foreseen")  # fmt: skip
    if not target_cmh2o or rows.is_empty():
        section.add("brier", where, unit="squared probability", text="no target gain is set for this pressure"
                    if not target_cmh2o else "nobody to count")  # fmt: skip
        return
    goal = (rows["baseline_cmh2o"] + target_cmh2o).to_numpy()
    below = ndtr((goal - rows["expected_cmh2o"].to_numpy()) / rows["sd_cmh2o"].to_numpy())
    score, blind = brier(below, (rows["value_cmh2o"].to_numpy() < goal).astype(float))
    section.add("brier", where, n=rows.height, value=score, unit="squared probability",
                method="mean square of foreseen probability of a gain under the target less what happened")  # fmt: skip
    section.add("brier_of_the_share", where, n=rows.height, value=blind, unit="squared probability",
                method="the same, had everybody been given the share that happened")  # fmt: skip


def _flags(section: Section, pressure: str, rows: pl.DataFrame, states: pl.DataFrame, target_cmh2o: float) -> None:
    """For each state of the last review: who was tested since, and who stands under the target or the start."""
    told = rows.join(states, on=["client_key", "pressure"], how="inner")
    under = (pl.col("value_cmh2o") < pl.col("baseline_cmh2o") + target_cmh2o).sum().alias("under")
    lower = (pl.col("value_cmh2o") < pl.col("baseline_cmh2o")).sum().alias("lower")
    for state, n, below, fallen in told.group_by("state").agg(pl.len(), under, lower).sort("state").iter_rows():
        where = group(pressure=pressure, state=state)
        if target_cmh2o:
            section.share("under_target_since", where, int(below), int(n))
        section.share("under_baseline_since", where, int(fallen), int(n))


def scored(last: tuple[str, pl.DataFrame] | None, frames: Frames, settings: Settings, quarter: str) -> ResultSet:
    """Section "scored" of the quarter. last: quarter and kept rows of the last review."""
    section = Section("quarter", "scored")
    if last is None:
        section.state(NONE_KEPT)
        return section.done()
    kept, states = kept_predictions(last[1]), kept_states(last[1])
    section.add("last_review", text=last[0])
    seen = dict(frames) | {"model": frames["model"].filter(pl.col("quarter") <= quarter)}
    for pressure in PRESSURES:
        mine = kept.filter(pl.col("pressure") == pressure)
        where = group(pressure=pressure)
        if mine.is_empty():
            section.state("The last review foresaw nothing for this pressure.", where)
            continue
        target = settings.mip_target_gain_cmh2o if pressure == "mip" else settings.mep_target_gain_cmh2o
        section.add("foreseen", where, n=mine["client_key"].n_unique())
        looks = mine.select("client_key", "look_on").unique()
        first = first_tests_after(seen, looks).filter(pl.col("pressure") == pressure)
        rows = matched(mine, first)
        _score(section, where, rows, target)
        _flags(section, pressure, rows, states, target)
    return section.done()
