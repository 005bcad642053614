"""Columns that a model of pressure over time reads: the time forms, tidy groups, centred covariates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.analyse.common import Array
from pipeline.settings import Settings

WEEKS = 12.0
"""Weeks in one unit of time: in weeks or days, optimisers have been seen to stop at wrong places."""
FEWEST_IN_A_LEVEL = 11
"""People below which a condition group joins "other" in a model (not in a count): its own column would rest on few."""


@dataclass(frozen=True)
class TimeForm:
    """One form of the mean curve over time. `knots_weeks` only for splines, ends included."""

    kind: str
    knots_weeks: tuple[float, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the columns of the form, all 0 at week 0."""
        return tuple(f"time_{k + 1}" for k in range(max(1, len(self.knots_weeks) - 1)))

    @property
    def formula(self) -> str:
        """The columns as a right-hand side."""
        return " + ".join(self.names)

    @property
    def words(self) -> str:
        """The form as a reader should know it."""
        if self.kind != "spline":
            words = {"linear": "straight line", "root": "square root of weeks", "log": "logarithm of weeks + 1"}
            return words[self.kind]
        return "natural spline, knots at weeks " + ", ".join(f"{k:g}" for k in self.knots_weeks)

    def columns(self, weeks: Array) -> Array:
        """Columns (rows, df) for weeks since the start; a week before the start counts as 0."""
        w = np.maximum(np.asarray(weeks, dtype=float), 0.0) / WEEKS
        if self.kind == "spline":
            return natural_spline(w, np.asarray(self.knots_weeks) / WEEKS)
        one: Array = {"linear": w, "root": np.sqrt(w), "log": np.log1p(w * WEEKS)}[self.kind]
        return one[:, None]


def natural_spline(x: Array, knots: Array) -> Array:
    """Natural cubic spline without intercept, (rows, knots - 1), 0 at the first knot and below if that is 0.

    Cubic between the knots, straight outside them. Source: Hastie, Tibshirani and Friedman 2009, The Elements of
    Statistical Learning, section 5.2.1, equations 5.4 and 5.5.
    """
    cubes = np.maximum(x[:, None] - knots, 0.0) ** 3
    slopes = (cubes[:, :-1] - cubes[:, -1:]) / (knots[-1] - knots[:-1])
    return np.column_stack([x - knots[0], slopes[:, :-1] - slopes[:, -1:]])


def time_form(kind: str, settings: Settings) -> TimeForm:
    """The form named "spline 3", "spline 2", "spline 4", "linear", "root" or "log", with the knots of the settings."""
    knots = {
        "spline 3": settings.time_knots_3_weeks,
        "spline 2": settings.time_knots_2_weeks,
        "spline 4": "0 3 8 16 30",
    }
    if kind in knots:
        return TimeForm("spline", tuple(float(k) for k in knots[kind].replace(",", " ").split()))
    return TimeForm(kind)


def with_time(frame: pl.DataFrame, form: TimeForm) -> pl.DataFrame:
    """The frame with the columns of a time form, made from `week`."""
    made = form.columns(frame["week"].cast(pl.Float64).to_numpy())
    return frame.with_columns(pl.Series(name, made[:, k]) for k, name in enumerate(form.names))


def _merged(frame: pl.DataFrame, column: str) -> pl.Expr:
    """The column with its rare labels joined into "other"."""
    people = frame.group_by(column).agg(pl.col("client_key").n_unique().alias("people"))
    rare = sorted(people.filter(pl.col("people") < FEWEST_IN_A_LEVEL)[column].drop_nulls().to_list())
    text = pl.col(column).cast(pl.String).fill_null("other")
    return pl.when(text.is_in(rare)).then(pl.lit("other")).otherwise(text).alias(column)


def prepared(model_frame: pl.DataFrame, pressure: str) -> pl.DataFrame:
    """Rows of one pressure ready for a model: first courses only, in order of client and day, no null where one hurts.

    Adds age_10 (decades from 65 years), efforts_more (efforts kept above the cohort's median; the median where only the
    best effort was kept); the baseline stands at week 0. A mover's second course is left out: one course a person.
    """
    rows = model_frame.filter((pl.col("pressure") == pressure) & pl.col("is_primary"))
    rows = rows.drop_nulls(["value_cmh2o", "week"]).sort("client_key", "tested_on")
    numbers = [c for c, t in rows.schema.items() if t.is_numeric() and c not in ("test_no", "prior_test_days")]
    at_start = pl.when(pl.col("is_baseline")).then(0.0)
    kept = rows["efforts_kept"].median() or 0.0  # 0.0: nobody's efforts are known
    age = rows["age_years"].median() or 65.0
    return rows.with_columns(pl.col(numbers).cast(pl.Float64)).with_columns(
        ((pl.col("age_years").fill_null(age) - 65.0) / 10.0).alias("age_10"),
        (pl.col("efforts_kept").fill_null(kept) - kept).fill_null(0.0).alias("efforts_more"),
        at_start.otherwise(pl.col("week").clip(0.0, None)).alias("week"),
        at_start.otherwise(pl.col("time12").clip(0.0, None)).alias("time12"),
        _merged(rows, "sex"),
        pl.col("protocol").cast(pl.String),
        pl.col("site").cast(pl.String),
        _merged(rows, "condition_group"),
    )
