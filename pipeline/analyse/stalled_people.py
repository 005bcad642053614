"""Who is judged this quarter, and what the model and the episode say of each: the input of the stalled rule."""

from __future__ import annotations

from datetime import date

import polars as pl

from pipeline.analyse.common import Frames, data_until
from pipeline.analyse.fits import Fitted, PressureModels
from pipeline.identity.quarters import last_day
from pipeline.stats import gains, predict
from pipeline.stats.stalled import reached_lower_limit
from pipeline.stats.stalled_rule import StalledRule

LATER_COURSE = "a later course: the model reads a person's first"
NO_MODEL = "no model could be fitted for this pressure"


def look_day(frames: Frames, quarter: str) -> date:
    """The day of the look: the last day of the quarter, or the last day of the data where that is earlier."""
    return min(last_day(quarter), data_until(frames))


def active_courses(frames: Frames, quarter: str) -> pl.DataFrame:
    """Courses that were trained or tested in the quarter: one row a course, with look_on and look_week.

    An open course is looked at on its last day where that is earlier: under `relative` each has an end of its own.
    """
    touched = frames["client_quarters"].filter(pl.col("quarter") == quarter).select("client_key", "course_no")
    look = pl.lit(look_day(frames, quarter))
    look_on = pl.when(pl.col("is_open")).then(pl.min_horizontal("last_on", look)).otherwise(look)
    week = (pl.col("look_on") - pl.col("week0_on")).dt.total_days() / 7
    courses = frames["courses"].join(touched.unique(), on=["client_key", "course_no"], how="semi")
    return courses.with_columns(look_on=look_on).with_columns(look_week=week).sort("client_key", "course_no")


def judged(frames: Frames, quarter: str, models: PressureModels, rule: StalledRule) -> pl.DataFrame:
    """One row per active course and pressure that was ever tested: the columns that `judge_clients` reads.

    gain_cmh2o and its SE are the model's, from the baseline to the last test, at equal numbers of efforts kept.
    """
    pressure = models.pressure
    known = frames["gains"].filter(pl.col("pressure") == pressure)
    people = active_courses(frames, quarter).join(
        known.select("client_key", "course_no", "baseline_on", "baseline_cmh2o", "last_on", "lower_limit_cmh2o",
                     "no_gain_reason"),
        on=["client_key", "course_no"], how="inner",
    )  # fmt: skip
    tested = frames["test_days"].filter(pl.col("pressure") == pressure).select("client_key", "course_no").unique()
    people = people.join(tested, on=["client_key", "course_no"], how="semi")
    first = frames["model"].filter(pl.col("is_baseline") & (pl.col("pressure") == pressure))
    people = people.join(first.select("client_key", "course_no", "prior_test_days"), on=["client_key", "course_no"],
                         how="left").with_columns(pl.lit(pressure).alias("pressure"))  # fmt: skip
    return _with_obstacles(people.join(_model_gains(models), on="client_key", how="left"), models, rule)


def _with_obstacles(people: pl.DataFrame, models: PressureModels, rule: StalledRule) -> pl.DataFrame:
    """Add the allowance, the goal and why a gain cannot be had."""
    pressure = models.pressure
    reason = pl.col("no_gain_reason").str.replace_all("_", " ")
    has_reason = pl.col("no_gain_reason").is_not_null() & (pl.col("no_gain_reason") != "")
    obstacle = (
        pl.when(~pl.col("is_primary")).then(pl.lit(LATER_COURSE))
        .when(has_reason & pl.col("baseline_on").is_null()).then(reason)
        .when(pl.col("gain_cmh2o").is_null() & pl.lit(models.working("primary") is None)).then(pl.lit(NO_MODEL))
    )
    naive = [rule.allowance_after(n or 0) if pressure == "mip" else 0.0 for n in people["prior_test_days"].to_list()]
    limit = [
        all(v is not None for v in values) and reached_lower_limit(*values, rule=rule)
        for values in people.select("baseline_cmh2o", "level_cmh2o", "level_std_error_cmh2o",
                                    "lower_limit_cmh2o").iter_rows()
    ]  # fmt: skip
    return people.with_columns(
        obstacle.alias("obstacle"), pl.Series("learning_allowance_cmh2o", naive, dtype=pl.Float64),
        pl.col(f"goal_{pressure}_cmh2o").alias("goal_cmh2o"),
        pl.Series("lower_limit_reached", limit, dtype=pl.Boolean),
    )  # fmt: skip


GAINS = {
    "client_key": pl.String, "gain_cmh2o": pl.Float64, "gain_std_error_cmh2o": pl.Float64, "level_cmh2o": pl.Float64,
    "level_std_error_cmh2o": pl.Float64,
}  # fmt: skip


def _model_gains(models: PressureModels) -> pl.DataFrame:
    """Each person's model gain: from the primary model, and from the one without dose for those it leaves out."""
    found = [_gains_of(f) for name in ("primary", "as_delivered") if (f := models.working(name)) is not None]
    whole = pl.concat([pl.DataFrame(schema=GAINS), *found])
    return whole.unique("client_key", keep="first", maintain_order=True)


def _gains_of(fitted: Fitted) -> pl.DataFrame:
    """Gain and present level of everybody in a fit with a baseline and a later test in it."""
    if fitted.fit is None or fitted.look is None:
        return pl.DataFrame(schema=GAINS)
    rows = fitted.look.frame.sort("client_key", "tested_on")
    earlier = rows.filter(pl.col("is_baseline")).unique("client_key", keep="first", maintain_order=True)
    later = rows.filter(~pl.col("is_baseline")).unique("client_key", keep="last", maintain_order=True)
    later = later.join(earlier, on="client_key", how="semi").sort("client_key")
    earlier = earlier.join(later, on="client_key", how="semi").sort("client_key")
    if later.is_empty():
        return pl.DataFrame(schema=GAINS)
    equal_efforts = pl.lit(0.0).alias("efforts_more")
    change = gains(fitted.fit, later.with_columns(equal_efforts), earlier.with_columns(equal_efforts), 0.0)
    level = predict(fitted.fit, later)
    return pl.DataFrame(
        [later["client_key"], change["gain"].alias("gain_cmh2o"), change["std_error"].alias("gain_std_error_cmh2o"),
         level["estimate"].alias("level_cmh2o"), level["std_error"].alias("level_std_error_cmh2o")],
        schema=GAINS,
    )  # fmt: skip
