"""The usual course, for those who send people: who is sent, how soon training starts, how long it goes on, what calls
for another look. Rows of the section "service"."""

from __future__ import annotations

import polars as pl

from pipeline.analyse.common import MEDIAN, PRESSURES, Frames, Section, group
from pipeline.reference.worthwhile import IMPORTANT_CHANGES, RISK_LEVELS
from pipeline.results import Partition
from pipeline.stats.stalled_rule import StalledRule

COURSE = ["client_key", "course_no"]
EVERYBODY, SO_FAR = "common.data.people[all]", "so_far=yes"
SENT = {"referral": ("referral_reason", "reason"), "caution": ("caution", "caution")}
PER_WEEK = {"prescribed_sessions_per_week": "sessions_prescribed", "done_sessions_per_week": "sessions_done"}


def _sent(section: Section, first: pl.DataFrame) -> None:
    """Everybody by what the referrer asked for, and by the caution on record."""
    for statistic, (column, name) in SENT.items():
        labels = first.select(pl.col(column).cast(pl.String).fill_null("not recorded"))[column].to_list()
        parts = [section.add(statistic, group(**{name: label}), n=labels.count(label)) for label in sorted(set(labels))]
        if parts:
            section.sums.append(Partition(EVERYBODY, tuple(p.key for p in parts)))


def days_to_start(frames: Frames, first: pl.DataFrame) -> pl.DataFrame:
    """Days from the first record of a first course (opened, or its baseline test where that came before) to the first
    training: to the day where sessions are told one by one, to the week where diaries are."""
    weeks = frames["client_weeks"].filter(pl.col("sessions_done") > 0).sort(*COURSE, "week_no")
    begun = weeks.unique(COURSE, keep="first", maintain_order=True).select(*COURSE, "week_from_on")
    tested = frames["gains"].group_by(COURSE).agg(pl.col("baseline_on").min())
    known = first.join(begun, on=COURSE, how="inner").join(tested, on=COURSE, how="left")
    since = pl.min_horizontal("from_on", "baseline_on")
    return known.select("client_key", (pl.col("week_from_on") - since).dt.total_days().alias("days")).sort("client_key")


def _course(section: Section, frames: Frames, first: pl.DataFrame) -> None:
    """Medians over people of first courses: days to the start, weeks planned and held, sessions a week."""
    over = first.filter(~pl.col("is_open"))
    held = over.select(((pl.col("last_on") - pl.col("week0_on")).dt.total_days() + 1) / 7).to_series()
    weeks = frames["client_weeks"].join(first.select(COURSE), on=COURSE, how="semi")
    each = weeks.group_by("client_key").agg(pl.col(list(PER_WEEK.values())).mean()).sort("client_key")
    section.median("days_to_start", SO_FAR, days_to_start(frames, first)["days"], "days", of=first.height)
    section.median("planned_weeks", SO_FAR, first["planned_weeks"], "weeks", of=first.height)
    section.median("course_weeks", SO_FAR, held, "weeks", of=first.height, method=f"{MEDIAN}; courses that have ended")
    for name, column in PER_WEEK.items():
        section.median(name, SO_FAR, each[column], "per week", of=first.height, method=f"{MEDIAN}, of people's means")


def _goals(section: Section, frames: Frames, first: pl.DataFrame) -> None:
    """People who reached the goal set for them on as many test days as the stalled rule asks for."""
    days = StalledRule().goal_days
    for pressure in PRESSURES:
        goal = f"goal_{pressure}_cmh2o"
        tests = frames["model"].filter(pl.col("pressure") == pressure).join(
            first.select(*COURSE, goal).drop_nulls(goal), on=COURSE, how="inner")
        each = tests.group_by("client_key").agg(
            (pl.col("is_baseline") & (pl.col("value_cmh2o") >= pl.col(goal))).any().alias("had"),
            (~pl.col("is_baseline")).sum().alias("later"),
            (~pl.col("is_baseline") & (pl.col("value_cmh2o") >= pl.col(goal))).sum().alias("at_goal"))
        able = each.filter(~pl.col("had") & (pl.col("later") >= days))
        section.share("goal_reached", group(pressure=pressure), able.filter(pl.col("at_goal") >= days).height,
                      able.height, note="on two test days; of those with a goal above the baseline and two tests since")


def _look_again(section: Section) -> None:
    """Published levels and changes that call for another look, whoever is in the data."""
    for level in RISK_LEVELS:
        section.add("look_again", group(measure=level.measure, level=f"{level.below:g}"), value=level.below,
                    unit="L/min", text=level.meaning, note=level.citation)  # fmt: skip
    for change in IMPORTANT_CHANGES:
        section.add("look_again", group(measure=change.measure, population=change.population), value=change.value,
                    low=change.low, high=change.high, unit="m", text="change that people notice",
                    note=change.citation)  # fmt: skip


def usual_course(section: Section, frames: Frames) -> None:
    """Add the rows on the usual course."""
    first = frames["courses"].filter(pl.col("is_primary")).sort("client_key")
    _sent(section, first)
    _course(section, frames, first)
    _goals(section, frames, first)
    _look_again(section)
