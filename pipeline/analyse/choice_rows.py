"""The rows that another analysis reads: other forms of the dose, other tests, the pressure on another scale."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl

from pipeline.analyse.choice import DOSE, GAIN, Ground, Target
from pipeline.analyse.common import Array, Frames
from pipeline.analyse.fits import LEARNING, learned
from pipeline.stats import Contrast

TRAILING_WEEKS = 4
FULL_SHARE = 0.8
"""Share of the prescribed sessions from which an interval counts as trained by the plan: a choice of ours."""


def with_test_facts(rows: pl.DataFrame, frames: Frames, pressure: str) -> pl.DataFrame:
    """Prepared rows with repeatability and reason of each test day, and the predicted pressure of the person."""
    facts = frames["test_days"].filter(pl.col("pressure") == pressure)
    facts = facts.select("client_key", "tested_on", "is_rep20", "test_reason").unique(
        ["client_key", "tested_on"], keep="first", maintain_order=True
    )
    first = frames["courses"].filter(pl.col("is_primary"))  # as in prepared rows: one course a person
    due = frames["gains"].join(first, on=["client_key", "course_no"], how="semi").filter(
        (pl.col("pressure") == pressure) & (pl.col("baseline_pct_predicted") > 0)).select(
        "client_key", (100.0 * pl.col("baseline_cmh2o") / pl.col("baseline_pct_predicted")).alias("predicted_cmh2o"),
    )  # fmt: skip
    found = rows.join(facts, on=["client_key", "tested_on"], how="left")
    return found.join(due, on="client_key", how="left").sort("client_key", "tested_on")


def with_health(rows: pl.DataFrame, frames: Frames) -> pl.DataFrame:
    """Illness and stable health as numbers about their mean over people: 0 is the mean person, and who is unknown.

    illness_weeks: of illness in the interval before the test; caution_c, support_c: any caution, any respiratory
    support; age_c: decades.
    """
    known = frames["courses"].filter(pl.col("is_primary")).select("client_key", "respiratory_support")
    found = rows.join(known, on="client_key", how="left", maintain_order="left").with_columns(
        (pl.col("illness_days_interval").cast(pl.Float64) / 7.0).alias("illness_weeks"),
        _any_but("caution", "none_known").alias("caution_c"),
        _any_but("respiratory_support", "none").alias("support_c"),
        pl.col("age_10").alias("age_c"),
    )
    people = found.unique("client_key", keep="first", maintain_order=True)
    means = {c: float(str(people[c].mean() or 0.0)) for c in ("caution_c", "support_c", "age_c")}
    return found.with_columns((pl.col(c) - mean).fill_null(0.0).alias(c) for c, mean in means.items())


def _any_but(column: str, nothing: str) -> pl.Expr:
    told = pl.col(column).cast(pl.String)
    return pl.when(told == "unknown").then(None).otherwise((told != nothing).cast(pl.Float64))


def known_dose(ground: Ground) -> pl.DataFrame:
    """The rows of the primary model: dose and effort known."""
    return ground.rows.drop_nulls(ground.recipe.needs())


def bounded(column: str) -> pl.Expr:
    """A bound of the dose in its place."""
    return pl.col(column).alias("dose_d")


def less_learning(ground: Ground, name: str) -> pl.DataFrame:
    """A part of the learning curve taken off; no rows where no curve is held (MEP)."""
    if ground.found.pressure != "mip":
        return ground.rows.clear()
    less = pl.col("value_cmh2o") - LEARNING[name] * learned(ground.rows)
    return ground.rows.with_columns(less.alias("value_cmh2o"))


def lagged(ground: Ground) -> pl.DataFrame:
    """Dose done up to the test BEFORE: what was done just before a test cannot count."""
    before = pl.col("dose_d").shift(1).over("client_key")
    return ground.rows.with_columns(pl.when(pl.col("is_baseline")).then(0.0).otherwise(before).alias("dose_d"))


def trailing(ground: Ground) -> pl.DataFrame:
    """Dose done in the last four whole weeks before a test, in 12-week units; null where none of them is known."""
    first = ground.frames["courses"].filter(pl.col("is_primary"))
    weeks = ground.frames["client_weeks"].join(first, on=["client_key", "course_no"], how="semi").select(
        "client_key", "sessions_done", "sessions_prescribed",
        (pl.col("week_from_on") + pl.duration(days=pl.col("week_days"))).alias("week_end"),
    )  # fmt: skip
    tests = ground.rows.select("client_key", "tested_on")
    near = tests.join(weeks, on="client_key", how="inner").filter(
        (pl.col("week_end") <= pl.col("tested_on"))
        & (pl.col("week_end") > pl.col("tested_on") - pl.duration(days=7 * TRAILING_WEEKS))
    )
    known = pl.col("sessions_done").is_not_null() & (pl.col("sessions_prescribed") > 0)
    share = pl.col("sessions_done").filter(known).sum() / pl.col("sessions_prescribed").filter(known).sum()
    done = near.group_by("client_key", "tested_on").agg(
        (pl.when(known.any()).then(share) * pl.len() / 12.0).alias("recent"))  # fmt: skip
    found = ground.rows.join(done, on=["client_key", "tested_on"], how="left").sort("client_key", "tested_on")
    return found.with_columns(pl.when(pl.col("is_baseline")).then(0.0).otherwise("recent").alias("dose_d"))


def _cumulated(rows: pl.DataFrame, added: pl.Expr) -> pl.DataFrame:
    """The sum of `added` over a person's intervals so far in the place of D; null from an unknown interval on."""
    step = pl.when(pl.col("is_baseline")).then(0.0).otherwise(added)
    rows = rows.sort("client_key", "tested_on").with_columns(step.alias("added"))
    is_known = pl.col("added").is_null().cum_sum().over("client_key") == 0
    total = pl.col("added").fill_null(0.0).cum_sum().over("client_key")
    return rows.with_columns(pl.when(is_known).then(total).alias("dose_d"))


def in_band(ground: Ground) -> pl.DataFrame:
    """Dose x effort: only sessions in the band count, at the interval's share of rated sessions."""
    dose = pl.col("dose_d") - pl.col("dose_d").shift(1).over("client_key")
    share = pl.when(dose == 0.0).then(0.0).otherwise(pl.col("interval_in_band_share"))
    return _cumulated(ground.rows.sort("client_key", "tested_on"), dose * share)


def by_plan(ground: Ground) -> pl.DataFrame:
    """Time, in 12-week units, in intervals with at least FULL_SHARE of the prescribed sessions done."""
    is_full = (pl.col("interval_adherence") >= FULL_SHARE).cast(pl.Float64)
    return _cumulated(ground.rows, is_full * pl.col("interval_weeks") / 12.0)


def gap_by_plan(rows: pl.DataFrame) -> float:
    """How far the shares done of the two kinds of intervals of `by_plan` lie apart, means over weeks; NaN if alike."""
    seen = rows.drop_nulls(["interval_adherence", "interval_weeks"]).filter(~pl.col("is_baseline"))
    means = []
    for part in (seen.filter(pl.col("interval_adherence") >= FULL_SHARE),
                 seen.filter(pl.col("interval_adherence") < FULL_SHARE)):  # fmt: skip
        weeks = float(part["interval_weeks"].sum())
        means.append(float((part["interval_adherence"] * part["interval_weeks"]).sum()) / weeks if weeks else np.nan)
    return means[0] - means[1]


def per_ten_points(ground: Ground, target: Target, found: Contrast) -> Contrast:
    """By-plan time to ten points of dose: its coefficient over the gap of shares; other targets as they are."""
    if target.statistic != DOSE:
        return found
    return scaled(found, 1.0 / gap_by_plan(ground.rows))


def scaled(found: Contrast, by: float) -> Contrast:
    """An estimate times a positive number."""
    return replace(found, estimate=found.estimate * by, std_error=found.std_error * by, low=found.low * by,
                   high=found.high * by)  # fmt: skip


def _level(rows: pl.DataFrame, target: Target) -> float:
    """Geometric mean pressure that a ratio is taken of: of baselines for a gain, else of tests at 10 to 16 weeks."""
    late = rows.filter(pl.col("week").is_between(10.0, 16.0))
    part = rows.filter(pl.col("is_baseline")) if target.statistic == GAIN or late.is_empty() else late
    return float(np.exp(np.log(part["value_cmh2o"].to_numpy()).mean()))


def from_log(ground: Ground, target: Target, found: Contrast) -> Contrast:
    """A difference of logarithms as cmH2O at the cohort's geometric mean pressure."""
    level = _level(ground.rows, target)
    ends: Array = level * np.expm1([found.estimate, found.low, found.high])
    error = level * float(np.exp(found.estimate)) * found.std_error
    return replace(found, estimate=float(ends[0]), low=float(ends[1]), high=float(ends[2]), std_error=error)


def from_predicted(ground: Ground, target: Target, found: Contrast) -> Contrast:
    """Points of % predicted as cmH2O at the cohort's mean predicted pressure."""
    del target
    people = ground.rows.unique("client_key", keep="first", maintain_order=True)["predicted_cmh2o"]
    return scaled(found, float(str(people.mean())) / 100.0)


def with_log(ground: Ground) -> pl.DataFrame:
    """Rows with log_value, the natural logarithm of the pressure."""
    return ground.rows.filter(pl.col("value_cmh2o") > 0).with_columns(pl.col("value_cmh2o").log().alias("log_value"))


def with_percent(ground: Ground) -> pl.DataFrame:
    """Rows with pct_value, the pressure in % of the person's predicted one; without a prediction a row drops out."""
    return ground.rows.with_columns((100.0 * pl.col("value_cmh2o") / pl.col("predicted_cmh2o")).alias("pct_value"))


def same_label(ground: Ground) -> pl.DataFrame:
    """Tests on the manometer label of the baseline; where a label is not recorded nothing is left out."""
    same = pl.col("instrument") == pl.col("instrument").first().over("client_key")
    return ground.rows.filter(same.fill_null(True))
