"""Function beside pressure: other measurements at the start and at 12 weeks, of the people who have both."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipeline.analyse.common import Frames, Section, group
from pipeline.reference.worthwhile import IMPORTANT_CHANGES, RISK_LEVELS
from pipeline.results import ResultSet


@dataclass(frozen=True)
class Measure:
    """One measure: its unit, which direction is the good one, whether it comes in whole grades."""

    name: str
    unit: str
    higher_is_better: bool
    is_grade: bool = False


MEASURES = (
    Measure("six_minute_walk_m", "m", True),
    Measure("peak_cough_flow_l_min", "L/min", True),
    Measure("maximum_phonation_s", "s", True),
    Measure("mmrc_grade", "grade", False, is_grade=True),
    Measure("oral_intake_level", "level", True, is_grade=True),
    Measure("goal_attainment_t", "T score", True),
)
FEWEST_IN_A_SPLIT = 11
"""People of a population, and of the rest, below which it is not told apart: subtraction would tell the rest."""
GRADED = ("better", "the same", "worse")
NO_GROUP = "no comparison group: the change holds practice, recovery and who came back"


def both_ends(frames: Frames, measure: str) -> pl.DataFrame:
    """First courses with a start of this measure: client_key, condition_group, start, later (null: none), change."""
    rows = frames["other_outcomes"].filter((pl.col("measure") == measure) & pl.col("is_primary"))
    first = rows.filter(pl.col("role") == "start")
    start = first.select("client_key", "condition_group", pl.col("value").alias("start"))
    later = rows.filter(pl.col("role") == "12_weeks").select("client_key", pl.col("value").alias("later"))
    found = start.join(later, on="client_key", how="left").sort("client_key")
    return found.with_columns((pl.col("later") - pl.col("start")).alias("change"))


def _change(section: Section, one: Measure, people: pl.DataFrame, frames: Frames) -> None:
    where, both = group(measure=one.name), people.drop_nulls("change")
    better = "higher is better" if one.higher_is_better else "lower is better"
    section.add("people", where, n=people.height, text="with a value at the start")
    section.share("with_both", where, both.height, people.height)
    section.mean("start", where, both["start"], one.unit, at=0.0)
    section.mean("later", where, both["later"], one.unit, at=12.0)
    change = section.mean("change", where, both["change"], one.unit, at=12.0, note=f"{better}; {NO_GROUP}")
    gains = frames["gains"].filter((pl.col("pressure") == "mip") & pl.col("gain12_cmh2o").is_not_null())
    gains = gains.join(frames["courses"].filter(pl.col("is_primary")), on=["client_key", "course_no"], how="semi")
    same = gains.join(both, on="client_key", how="semi")
    beside = section.mean("mip_gain_of_them_cmh2o", where, same["gain12_cmh2o"], "cmH2O", at=12.0,
                          note="the same people, as measured; both may rise without one causing the other")
    without = section.add("without_mip_gain", where, n=both.height - same.height, at=12.0)
    section.sum_of(change, (beside, without))


def _graded(section: Section, one: Measure, people: pl.DataFrame) -> None:
    change = people["change"].drop_nulls() * (1 if one.higher_is_better else -1)
    counts = ((change > 0).sum(), (change == 0).sum(), (change < 0).sum())
    total = section.add("graded", group(measure=one.name), n=change.len(), at=12.0)
    parts = [section.add("graded", group(measure=one.name, direction=d), n=int(n), at=12.0)
             for d, n in zip(GRADED, counts, strict=True)]  # fmt: skip
    section.sum_of(total, parts)


def _yardsticks(section: Section, one: Measure, people: pl.DataFrame) -> None:
    """Add the published change of note and the share past it; the levels of risk and the share under them."""
    held = [y for y in IMPORTANT_CHANGES if y.measure == one.name]
    for known in held:
        where = group(measure=one.name, population=known.population)
        section.add("important_change", where, value=known.value, low=known.low, high=known.high, unit=one.unit,
                    method=known.citation, text="change that people notice, published; not a detectable change")
        both = people.drop_nulls("change")
        theirs = both.filter(pl.col("condition_group").is_in(known.condition_groups))["change"]
        if min(theirs.len(), both.height - theirs.len() or FEWEST_IN_A_SPLIT) < FEWEST_IN_A_SPLIT:
            section.add("past_important_change", where, at=12.0, unit="%", text="too few people to split")
            continue
        section.share("past_important_change", where, int((theirs >= known.value).sum()), theirs.len(), at=12.0,
                      note="error and practice alone put some people past it")  # fmt: skip
    for level in (r for r in RISK_LEVELS if r.measure == one.name):
        both = people.drop_nulls("change")
        for when, column, at in (("at the start", "start", 0.0), ("at 12 weeks", "later", 12.0)):
            section.share("under_level", group(measure=one.name, level=f"{level.below:g}", when=when),
                          int((both[column] < level.below).sum()), both.height, at=at,
                          note=f"{level.meaning}: {level.citation}")  # fmt: skip
    if not held:
        section.add("important_change", group(measure=one.name), unit=one.unit, text="none held from a read source")


def function(frames: Frames) -> ResultSet:
    """Section "function" of the quarter: every measure that anybody has at the start of a first course."""
    section = Section("quarter", "function")
    for one in MEASURES:
        people = both_ends(frames, one.name)
        if people.is_empty():
            continue
        _change(section, one, people, frames)
        if one.is_grade:
            _graded(section, one, people)
        _yardsticks(section, one, people)
    if not section.rows:
        section.state("No other outcome was recorded at the start of a course: there is nothing to set beside the "
                      "pressures.")  # fmt: skip
    return section.done()
