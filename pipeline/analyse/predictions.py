"""What the model expects of each person's next test: kept with the review, and scored by the next one."""

from __future__ import annotations

import polars as pl

from pipeline.analyse.common import Frames, Section
from pipeline.analyse.design import with_time
from pipeline.analyse.fits import Fitted, Models
from pipeline.analyse.stalled_people import active_courses
from pipeline.identity.quarters import day_words
from pipeline.results import ResultSet
from pipeline.stats import predict

HORIZONS_WEEKS = (1.0, 5.0, 9.0, 13.0)
"""Weeks after the look at which a further test is foreseen; between them a later reader goes along a straight line."""
NEWEST_TEST_WEEKS = 16.0
"""Weeks before the look after which a last test is too old to foresee the next from: a choice of ours."""
FEWEST_WEEKS = 2.0
"""Weeks of course below which a person's own share of dose is not carried on: the mean share is."""


def _ahead(fitted: Fitted, people: pl.DataFrame, weeks_on: float) -> pl.DataFrame:
    """One row a person for the model to read: the last test's row, moved to `weeks_on` weeks after the look.

    The dose and the effort go on at the person's own share so far; efforts kept are the cohort's median.
    """
    assert fitted.look is not None
    last = fitted.rows.sort("client_key", "tested_on").unique("client_key", keep="last", maintain_order=True)
    last = last.join(people.select("client_key", "look_week"), on="client_key", how="inner").sort("client_key")
    last = last.filter(pl.col("look_week") - pl.col("week") <= NEWEST_TEST_WEEKS)
    then = (pl.col("look_week") + weeks_on) / 12.0
    rates = {"dose_d": fitted.look.dose_rate, "effort_e": fitted.look.effort_rate}
    shares = {
        c: pl.when(pl.col("week") >= FEWEST_WEEKS).then(pl.col(c) / pl.col("time12")).otherwise(pl.lit(mean))
        for c, mean in rates.items()
    }  # fmt: skip
    moved = last.with_columns((shares[c] * then).alias(c) for c in rates)
    moved = moved.with_columns((12.0 * then).alias("week"), then.alias("time12"), pl.lit(0.0).alias("efforts_more"),
                               pl.lit(False).alias("is_baseline"))  # fmt: skip
    moved = moved.with_columns((pl.col(c) - mean * pl.col("time12")).fill_null(0.0).alias(c)
                               for c, mean in rates.items())  # fmt: skip
    return with_time(moved, fitted.built.form)


def foreseen(models: Models, pressure: str, people: pl.DataFrame) -> pl.DataFrame:
    """client_key, weeks_on, value, low, high (95 % of single tests): by the primary model, else without dose."""
    parts: list[pl.DataFrame] = []
    done: set[str] = set()
    for name in ("primary", "as_delivered"):
        fitted = models[pressure].working(name)
        if fitted is None or fitted.fit is None or fitted.look is None:
            continue
        mine = people.filter(~pl.col("client_key").is_in(sorted(done)))
        for weeks_on in HORIZONS_WEEKS:
            rows = _ahead(fitted, mine, weeks_on)
            if rows.is_empty():
                continue
            made = predict(fitted.fit, rows)
            parts.append(pl.DataFrame([
                rows["client_key"], pl.Series("weeks_on", [weeks_on] * rows.height), made["estimate"].alias("value"),
                made["new_low"].alias("low"), made["new_high"].alias("high")]))
            done |= set(rows["client_key"].to_list())
    empty = pl.DataFrame(schema={"client_key": pl.String, "weeks_on": pl.Float64, "value": pl.Float64,
                                 "low": pl.Float64, "high": pl.Float64})  # fmt: skip
    return pl.concat([empty, *parts]).sort("client_key", "weeks_on")


def predictions(frames: Frames, models: Models, quarter: str) -> ResultSet:
    """Section "predictions" of the stalled report: client rows, `at` in weeks after the look, text the day of it."""
    section = Section("stalled", "predictions")
    people = active_courses(frames, quarter).filter(pl.col("is_primary"))
    looks = dict(people.select("client_key", "look_on").iter_rows())
    for pressure in models:
        for key, weeks_on, value, low, high in foreseen(models, pressure, people).iter_rows():
            section.add("prediction_cmh2o", f"{key};pressure={pressure}", at=weeks_on, value=value, low=low, high=high,
                        unit="cmH2O", text=day_words(looks[key], quarter), klass="client",
                        method="mixed model, 95 % interval of one test if dose and effort go on")  # fmt: skip
    return ResultSet(tuple(section.rows))
