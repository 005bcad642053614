"""The frames as they stood at the end of an earlier quarter: later rows, later tests and later courses stay out."""

from __future__ import annotations

from datetime import date

import polars as pl

from pipeline.analyse.common import Frames
from pipeline.identity.quarters import last_day
from pipeline.settings import Settings

COURSE = ["client_key", "course_no"]
SERIES = [*COURSE, "pressure"]


def _courses(frames: Frames, seen: pl.DataFrame, end: date) -> pl.DataFrame:
    """Courses begun by then, or tested for (a baseline may precede the start); one that went on later is open."""
    courses = frames["courses"]
    begun = courses.filter(pl.col("from_on") <= end)
    tested = courses.join(seen.select(COURSE), on=COURSE, how="semi")
    kept = pl.concat([begun, tested]).unique(COURSE).sort(COURSE)
    return kept.with_columns(
        (pl.col("is_open") | (pl.col("last_on") > end)).alias("is_open"),
        pl.min_horizontal("last_on", pl.lit(end)).alias("last_on"),
    )


def _gains(frames: Frames, end: date, settings: Settings) -> pl.DataFrame:
    """Gains from the tests known by then: the last one, and the one nearest 12 weeks in the window."""
    gains = frames["gains"].filter((pl.col("baseline_on") <= end).fill_null(True))
    known = ~pl.col("is_baseline") & (pl.col("tested_on") <= end)
    tests = frames["model"].filter(known).sort(*SERIES, "tested_on")
    place = [pl.col("tested_on"), pl.col("week"), pl.col("value_cmh2o")]
    last = tests.group_by(SERIES).agg(
        *(c.last().alias(n) for c, n in zip(place, ("last_on", "last_week", "last_cmh2o"), strict=True)),
        (pl.len() + 1).cast(pl.Int64).alias("n_tests"),
    )
    window = tests.filter(pl.col("week").is_between(settings.window_12_low_weeks, settings.window_12_high_weeks))
    near = window.sort((pl.col("week") - 12).abs(), "tested_on").group_by(SERIES, maintain_order=True).agg(
        *(c.first().alias(n) for c, n in zip(place, ("at12_on", "at12_week", "at12_cmh2o"), strict=True)))  # fmt: skip
    old = ["last_on", "last_week", "last_cmh2o", "n_tests", "at12_on", "at12_week", "at12_cmh2o"]
    share = pl.col("baseline_pct_predicted") / pl.col("baseline_cmh2o")
    none = pl.col("baseline_on").is_not_null() & pl.col("last_on").is_null() & pl.col("no_gain_reason").is_null()
    return gains.drop(old).join(last, on=SERIES, how="left").join(near, on=SERIES, how="left").with_columns(
        (pl.col("at12_cmh2o") - pl.col("baseline_cmh2o")).alias("gain12_cmh2o"),
        (pl.col("last_cmh2o") - pl.col("baseline_cmh2o")).alias("gain_last_cmh2o"),
        (share * pl.col("last_cmh2o")).alias("last_pct_predicted"),
        pl.col("n_tests").fill_null(pl.col("baseline_on").is_not_null().cast(pl.Int64)),
        pl.when(none).then(pl.lit("no_later_test")).otherwise(pl.col("no_gain_reason")).alias("no_gain_reason"),
    ).sort(SERIES)  # fmt: skip


def until_quarter(frames: Frames, reported: str, settings: Settings) -> dict[str, pl.DataFrame]:
    """The frames as far as the end of the reported quarter; unchanged where the data end by then."""
    end = last_day(reported)
    kept = dict(frames)
    for name, frame in frames.items():
        if "quarter" in frame.columns:
            kept[name] = frame.filter(pl.col("quarter").is_null() | (pl.col("quarter") <= reported))
    days = {"test_days": "tested_on", "events": "event_on", "pauses": "from_on", "instruments": "event_on",
            "prescriptions": "holds_from_on"}  # fmt: skip
    for name, day in days.items():
        if name in kept and day in kept[name].columns:
            kept[name] = kept[name].filter(pl.col(day) <= end)
    later = frames["model"].filter(pl.col("tested_on") > end).height + frames["courses"].filter(
        pl.col("last_on") > end).height  # fmt: skip
    if later:
        kept["courses"] = _courses(frames, kept["client_quarters"], end)
        kept["gains"] = _gains(frames, end, settings).join(kept["courses"], on=COURSE, how="semi")
        kept["adherence"] = frames["adherence"].join(kept["courses"], on=COURSE, how="semi")
    return kept
