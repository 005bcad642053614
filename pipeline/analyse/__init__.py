"""From frames to results: models as data, fits, effect sizes, the sections of every page. Reads frames only."""

from __future__ import annotations

import polars as pl

from pipeline.analyse import can_answer, protocols, quarter, stalled
from pipeline.analyse.across import sums_across
from pipeline.analyse.common import Frames, join
from pipeline.analyse.fits import Models, fit_models
from pipeline.results import ResultSet
from pipeline.settings import Settings

__all__ = ["Models", "analyse", "fit_models"]


LATER = {
    "at12_on": ("at12_week", "at12_cmh2o", "gain12_cmh2o"),
    "last_on": ("last_week", "last_cmh2o", "gain_last_cmh2o", "last_pct_predicted"),
}
"""Columns of a gain that a later test has filled in."""


def until_quarter(frames: Frames, reported: str) -> dict[str, pl.DataFrame]:
    """The frames as far as the end of the reported quarter: later rows and later courses stay out."""
    kept = dict(frames)
    for name, frame in frames.items():
        if "quarter" in frame.columns:
            kept[name] = frame.filter(pl.col("quarter").is_null() | (pl.col("quarter") <= reported))
    courses, touched = frames["courses"], kept["client_quarters"].select("client_key", "course_no")
    begun = courses.filter(_quarter("from_on") <= reported)
    tested = courses.join(touched, on=["client_key", "course_no"], how="semi")  # a baseline may precede the start
    kept["courses"] = pl.concat([begun, tested]).unique(["client_key", "course_no"]).sort("client_key", "course_no")
    gains = frames["gains"].filter((_quarter("baseline_on") <= reported).fill_null(True))
    for day, columns in LATER.items():
        known = (_quarter(day) <= reported).fill_null(False)
        gains = gains.with_columns(pl.when(known).then(pl.col(c)).alias(c) for c in (day, *columns))
    kept["gains"] = gains.join(kept["courses"], on=["client_key", "course_no"], how="semi")
    return kept


def _quarter(column: str) -> pl.Expr:
    return pl.format("{}Q{}", pl.col(column).dt.year(), pl.col(column).dt.quarter())


def analyse(frames: Frames, settings: Settings, quarter_name: str) -> ResultSet:
    """Compute every result of the reported quarter (such as "2026Q3"), in the order of the pages.

    frames: name to frame, the tables of the schema `frames`. Models are fitted once and shared by all sections.
    """
    seen = until_quarter(frames, quarter_name)
    models = fit_models(seen, settings)
    parts = [
        can_answer.results(seen, settings, quarter_name, models),
        quarter.results(seen, settings, quarter_name, models),
        protocols.results(seen, settings, quarter_name, models),
        stalled.results(seen, settings, quarter_name, models),
    ]
    whole = join(parts)
    return ResultSet(whole.rows, whole.partitions + sums_across(whole.rows))
