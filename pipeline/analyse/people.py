"""Who trained or was tested in the quarter, and who is in the figures, who is not and why."""

from __future__ import annotations

from datetime import timedelta

import polars as pl

from pipeline.analyse.common import PRESSURES, Frames, Section, group, labelled, periods
from pipeline.identity.quarters import label_of
from pipeline.results import ReportName, Result, ResultSet
from pipeline.settings import Settings

BANDS = ("under 50 %", "50 to under 80 %", "80 % or more")
"""Baseline MIP as a share of predicted: bands of ours, for the mix of people only."""
NOT_YET = "12 weeks not reached yet"
MIX = ("site", "standing", "sex", "age_band", "condition_group", "mip_predicted_band", "device_class", "protocol")


def present(frames: Frames, quarters: list[str]) -> pl.DataFrame:
    """One row a person with a session, a diary week or a test in any of the quarters: client_key, course_no (first)."""
    seen = frames["client_quarters"].filter(
        pl.col("quarter").is_in(quarters)
        & ((pl.col("weeks_logged") > 0) | (pl.col("n_tests") > 0) | (pl.col("n_sessions") > 0)).fill_null(False)
    )
    return seen.sort("client_key", "course_no").group_by("client_key", maintain_order=True).agg(
        pl.col("course_no").first()
    )


def last_block(frames: Frames, *, more_than: int) -> str:
    """The last quarter in which more than so many people trained or were tested; the last with anybody, else block-001.

    Meant for blocks of each client's own time, of which none ends for everybody at once.
    """
    quarters = sorted(set(frames["client_quarters"]["quarter"].to_list()), reverse=True)
    counts = {q: present(frames, [q]).height for q in quarters}
    several = [q for q, n in counts.items() if n > more_than] or [q for q, n in counts.items() if n]
    return several[0] if several else label_of(1)


def described(frames: Frames, people: pl.DataFrame, quarters: list[str]) -> pl.DataFrame:
    """The people with what is known of them at the start, one row a person."""
    share = pl.col("mip_pct_predicted")
    band = pl.when(share < 50).then(pl.lit(BANDS[0])).when(share < 80).then(pl.lit(BANDS[1])).when(
        share.is_not_null()).then(pl.lit(BANDS[2]))  # fmt: skip
    first = frames["courses"].group_by("client_key").agg(pl.col("first_quarter").min().alias("came_in"))
    known = people.join(frames["courses"], on=["client_key", "course_no"], how="left").join(
        first, on="client_key", how="left"
    )
    came_now = pl.col("came_in").is_in(quarters)
    return known.with_columns(
        band.alias("mip_predicted_band"),
        pl.when(came_now).then(pl.lit("new")).otherwise(pl.lit("continuing")).alias("standing"),
    ).sort("client_key")


def who(frames: Frames, quarter: str) -> ResultSet:
    """Section "who": people of this quarter, the last and the last four, by what they are."""
    section = Section("quarter", "who")
    for period, quarters in periods(quarter).items():
        people = described(frames, present(frames, quarters), quarters)
        total = section.add("people", group(period=period), n=people.height,
                            method="people with a session, a diary week or a test in the period")
        if people.height == 0:
            section.state("No one had a session, a diary week or a test in this period.", group(period=period))
            continue
        for column in MIX:
            order = {"mip_predicted_band": BANDS, "standing": ("new", "continuing")}.get(column, ())
            section.split("people", total, people, column, within={"period": period}, order=order)
    return section.done()


def eligible(frames: Frames, pressure: str, protocol: str | None = None) -> pl.DataFrame:
    """First courses, one row a person, with the gains of one pressure and the dose before the 12-week test."""
    courses = frames["courses"].filter(pl.col("is_primary"))
    if protocol is not None:
        courses = courses.filter(pl.col("protocol") == protocol)
    gains = frames["gains"].filter(pl.col("pressure") == pressure).select(
        "client_key", "course_no", "baseline_cmh2o", "at12_on", "gain12_cmh2o", "gain_last_cmh2o", "no_gain_reason")
    doses = frames["model"].filter(pl.col("pressure") == pressure).select(
        "client_key", "course_no", pl.col("tested_on").alias("at12_on"), pl.col("dose_d").alias("dose_at12"))
    people = courses.join(gains, on=["client_key", "course_no"], how="left")
    return people.join(doses, on=["client_key", "course_no", "at12_on"], how="left").sort("client_key")


def with_exits(people: pl.DataFrame, settings: Settings) -> pl.DataFrame:
    """Add the step at which each person leaves (null: stays to the end) and why.

    A person whose open course ends (with the data) before the 12-week window does has not reached it yet.
    """
    reason = pl.col("no_gain_reason").fill_null("not tested with this pressure").replace("", "reason not known")
    window_open = pl.col("week0_on") + timedelta(weeks=settings.window_12_high_weeks) > pl.col("last_on")
    not_yet = window_open & pl.col("is_open")
    step = (
        pl.when(pl.col("baseline_cmh2o").is_null()).then(pl.lit("baseline"))
        .when(pl.col("gain_last_cmh2o").is_null()).then(pl.lit("retested"))
        .when(pl.col("gain12_cmh2o").is_null()).then(pl.lit("window12"))
        .when(pl.col("dose_at12").is_null()).then(pl.lit("modelled"))
    )  # fmt: skip
    why = (
        pl.when((step == "retested") & (reason == "no_later_test") & not_yet).then(pl.lit(NOT_YET))
        .when((step == "window12") & not_yet).then(pl.lit(NOT_YET))
        .when(step == "window12").then(pl.lit("no comparable test in the 12-week window"))
        .when(step == "modelled").then(pl.lit("dose before the 12-week test not known"))
        .when(step.is_not_null()).then(reason)
    )  # fmt: skip
    return people.with_columns(step.alias("exit_step"), why.alias("exit_reason"))


STEPS = ("baseline", "retested", "window12", "modelled")


def flow(section: Section, people: pl.DataFrame, within: dict[str, str]) -> None:
    """Add the steps "course", "baseline", "retested", "window12", "modelled": who stays, who leaves and why."""
    here: Result = section.add("stay", group(**within, step="course"), at=1.0, n=people.height,
                               note="people with a first course of training")
    for number, step in enumerate(STEPS, start=2):
        leaving = people.filter(pl.col("exit_step") == step)
        people = people.filter(pl.col("exit_step").is_null() | (pl.col("exit_step") != step))
        note = "with a known dose; the model also uses tests outside the window" if step == "modelled" else ""
        stays = section.add("stay", group(**within, step=step), at=float(number), n=people.height, note=note)
        counts = leaving.group_by(labelled("exit_reason").alias("reason")).len("n").sort("reason")
        leaves = [
            section.add("leave", group(**within, step=step, reason=why), at=float(number), n=int(n))
            for why, n in counts.iter_rows()
        ]
        section.sum_of(here, [stays, *leaves])
        here = stays


def brief_steps(people: pl.DataFrame) -> list[tuple[str, float, int]]:
    """Step, its number and the people who stay, of rows made by `eligible`: course, baseline and 12-week test."""
    steps = [("course", 1.0, people.height)]
    for number, column in ((2, "baseline_cmh2o"), (4, "gain12_cmh2o")):
        people = people.filter(pl.col(column).is_not_null())
        steps.append((STEPS[number - 2], float(number), people.height))
    return steps


def brief_flow(section: Section, people: pl.DataFrame, within: dict[str, str]) -> None:
    """The flow of one protocol in three steps, every reason for leaving together.

    By protocol and reason the cells would be a handful of people each: the reasons of all stand in "counted".
    """
    (_, at, before), *steps = brief_steps(people)
    here = section.add("stay", group(**within, step="course"), at=at, n=before)
    for step, number, kept in steps:
        stays = section.add("stay", group(**within, step=step), at=number, n=kept)
        section.sum_of(here, [stays, section.add("leave", group(**within, step=step, reason="any reason"),
                                                 at=number, n=before - kept)])  # fmt: skip
        before, here = kept, stays


def counted(frames: Frames, settings: Settings, report: ReportName = "quarter") -> ResultSet:
    """Section "counted" (quarter) or "compared" (protocols): the flow of people into the figures, minus lines first."""
    section = Section(report, "counted" if report == "quarter" else "compared")
    protocols = [None] if report == "quarter" else sorted(frames["courses"]["protocol"].unique().to_list())
    for pressure in PRESSURES:
        for protocol in protocols:
            people = with_exits(eligible(frames, pressure, protocol), settings)
            if protocol:
                brief_flow(section, people, {"pressure": pressure, "protocol": protocol})
            else:
                flow(section, people, {"pressure": pressure})
    return section.done()
