"""Protocols before any outcome: the question, what was trained, who is compared, whether groups and sites allow it."""

from __future__ import annotations

from itertools import combinations
from math import sqrt

import numpy as np
import polars as pl

from pipeline.analyse.common import Frames, Section, counting, floats, group, labelled
from pipeline.analyse.fits import Models
from pipeline.analyse.plans import plan_in_force
from pipeline.results import Partition, ResultSet
from pipeline.settings import Settings

NUMBERS = ("age_years", "baseline_mip_cmh2o", "baseline_mep_cmh2o", "mip_pct_predicted")
CATEGORIES = ("sex", "condition_group", "assigned_by", "aim")
PRESCRIBED, DONE = ("sessions_prescribed", "breaths_prescribed"), ("sessions_done", "breaths_done")
PER_WEEK = {
    "sessions_prescribed": "prescribed_sessions_per_week", "sessions_done": "done_sessions_per_week",
    "breaths_prescribed": "prescribed_breaths_per_week", "breaths_done": "done_breaths_per_week",
}  # fmt: skip


def first_courses(frames: Frames) -> pl.DataFrame:
    """First courses, one row a person, in order."""
    return frames["courses"].filter(pl.col("is_primary")).sort("client_key")


def estimand(frames: Frames, settings: Settings) -> ResultSet:
    """Section "estimand": the five attributes of ICH E9(R1), in the words of the plan; without one, in the page's."""
    section = Section("protocols", "estimand")
    plan = plan_in_force(frames)
    if plan is not None:
        for at, (name, text) in enumerate(plan.estimand.items(), start=1):
            section.add("attribute", group(attribute=name.replace("_", " ")), at=float(at), text=text,
                        method="the words are those of the plan")
        return section.done()
    section.add("plan", text="No estimand was written down: the tables are descriptive, and every contrast is "
                             "exploratory.")
    courses = frames["courses"]
    protocols = ", ".join(sorted(courses["protocol"].unique().to_list()))
    drawn = set(courses["assigned_by"].to_list()) == {"randomised"}
    window = f"weeks {settings.window_12_low_weeks} to {settings.window_12_high_weeks}"
    attributes = (
        ("population",
         "People in their first course of training who have a baseline test and a later comparable test."),
        ("treatments", f"The dosing protocol of the first episode, as prescribed: {protocols}. "
                       + ("Randomised." if drawn else "Not randomised, or not everywhere.")),
        ("variable", "MIP and MEP in cmH2O, best acceptable effort of a test day: the rise from the baseline to week "
                     f"12 (raw figures: the test nearest week 12 in {window}); week 24 beside it."),
        ("intercurrent events",
         "Stopping and lost tests: what the model expects, given all tests that were seen (missing at random). Pauses, "
         "illness, easing and changes of dose: followed as they came, the dose done is in the model. Another metric, "
         "posture or mouthpiece: later tests stay out."),
        ("summary", "Difference of the mean rises of two protocols at the same share of the prescribed dose done, with "
                    "Kenward-Roger intervals; p-values adjusted by Holm within the family."),
    )  # fmt: skip
    for at, (name, text) in enumerate(attributes, start=1):
        section.add("attribute", group(attribute=name), at=float(at), text=text,
                    method="the words are those of this page: they say what it estimates")
    return section.done()


def training(frames: Frames) -> ResultSet:
    """Section "training": per protocol what was prescribed and what was done, median over people."""
    section = Section("protocols", "training")
    people = first_courses(frames)
    weeks = frames["client_weeks"].join(people, on=["client_key", "course_no"], how="semi")
    each = weeks.group_by("client_key").agg(
        pl.col(*PRESCRIBED, "effort_low", "effort_high").median(), pl.col(*DONE).mean()
    )
    people = people.join(each, on="client_key", how="left").sort("client_key")
    everyone = section.add("people", n=people.height)
    totals = []
    for protocol in sorted(people["protocol"].unique().to_list()):
        here = people.filter(pl.col("protocol") == protocol)
        where = group(protocol=protocol)
        totals.append(section.add("people", where, n=here.height))
        section.split("people", totals[-1], here, "device_class", within={"protocol": protocol})
        for column, name in PER_WEEK.items():
            section.median(name, where, here[column], "per week", of=here.height)
        section.median("planned_weeks", where, here["planned_weeks"], "weeks", of=here.height)
        section.median("target_band_low", where, here["effort_low"], "0-10", of=here.height)
        section.median("target_band_high", where, here["effort_high"], "0-10", of=here.height)
    section.sum_of(everyone, totals)
    section.add("not_recorded", group(item="progression rule"),
                text="no table holds the rule; the steps of the setting are counted instead")
    section.add("not_recorded", group(item="supervision"), text="not summed here; single sessions may say it")
    return section.done()


def total_of(protocol: str) -> str:
    """Key of the row that counts the people of a protocol: sections that split them refer to it."""
    return f"protocols.training.people[protocol={protocol}]"


def smd_of_means(first: pl.Series, second: pl.Series) -> float | None:
    """Absolute difference of means per root mean square of the two SDs; None below two values or without spread."""
    a, b = floats(first), floats(second)
    if min(a.size, b.size) < 2:
        return None
    spread = sqrt((float(a.var(ddof=1)) + float(b.var(ddof=1))) / 2)
    return abs(float(a.mean() - b.mean())) / spread if spread > 0 else None


def smd_of_shares(first: float, second: float) -> float | None:
    """The same for two shares (0-1)."""
    spread = sqrt((first * (1 - first) + second * (1 - second)) / 2)
    return abs(first - second) / spread if spread > 0 else None


def _numbers(section: Section, people: pl.DataFrame, protocols: list[str]) -> None:
    for column in NUMBERS:
        for protocol in protocols:
            every = people.filter(pl.col("protocol") == protocol)[column]
            seen = floats(every)
            where = group(covariate=column, protocol=protocol)
            if seen.size < 2:
                section.add("mean", where, n=seen.size, text="not recorded")
                continue
            mean, sd = float(np.mean(seen)), float(np.std(seen, ddof=1))
            section.add("mean", where, **counting(seen.size, every.len()), value=mean, low=mean - sd, high=mean + sd,
                        method="mean, and the mean less and plus one SD")
            section.add("sd", where, **counting(seen.size, every.len()), value=sd, method="standard deviation, n - 1")
        for a, b in combinations(protocols, 2):
            found = smd_of_means(*(people.filter(pl.col("protocol") == p)[column] for p in (a, b)))
            section.add("smd", group(covariate=column, protocols=f"{a} - {b}"), value=found, unit="SD",
                        text="" if found is not None else "cannot be given")


def _categories(section: Section, people: pl.DataFrame, protocols: list[str]) -> None:
    for column in CATEGORIES:
        tidy = people.with_columns(labelled(column).alias("label"))
        levels = sorted(tidy["label"].unique().to_list())
        shares: dict[tuple[str, str], float] = {}
        cells: list[int] = []
        for protocol in protocols:
            labels = tidy.filter(pl.col("protocol") == protocol)["label"].to_list()
            rows = [section.share("share_pct", group(covariate=f"{column}:{level}", protocol=protocol),
                                  labels.count(level), len(labels)) for level in levels]  # fmt: skip
            section.sums.append(Partition(total_of(protocol), tuple(r.key for r in rows)))
            shares |= {(level, protocol): labels.count(level) / max(len(labels), 1) for level in levels}
            cells += [labels.count(level) for level in levels if level in labels]
        for level in levels:
            for a, b in combinations(protocols, 2):
                found = smd_of_shares(shares[level, a], shares[level, b])
                # a difference of two shares gives either away: its people are those of the smallest cell of the table
                section.add("smd", group(covariate=f"{column}:{level}", protocols=f"{a} - {b}"), value=found, unit="SD",
                            n_of="shares", n_people=min(cells), text="" if found is not None else "cannot be given")


def alike(frames: Frames) -> ResultSet:
    """Section "alike": the groups at the start, with standardised differences and no p-values."""
    section = Section("protocols", "alike")
    people = first_courses(frames)
    protocols = sorted(people["protocol"].unique().to_list())
    if len(protocols) < 2:
        section.state("There is one protocol only: nothing to compare.")
    _numbers(section, people, protocols)
    _categories(section, people, protocols)
    return section.done()


def overlap(frames: Frames, models: Models) -> ResultSet:
    """Section "overlap": people by site and protocol, and which pairs can be told apart from their sites."""
    section = Section("protocols", "overlap")
    people = first_courses(frames)
    protocols = sorted(people["protocol"].unique().to_list())
    for protocol in protocols:
        here = people.filter(pl.col("protocol") == protocol)
        counts = [section.add("people", group(site=s, protocol=protocol), n=here.filter(pl.col("site") == s).height)
                  for s in sorted(people["site"].unique().to_list())]  # fmt: skip
        section.sums.append(Partition(total_of(protocol), tuple(r.key for r in counts)))
    gate = next((m.gate for m in models.values() if m.gate is not None), None)
    for a, b in combinations(protocols, 2):
        tied = gate is not None and bool({a, b} & gate.inseparable)
        note = "site x time stands in the model" if gate is not None and gate.needs_site_slope else ""
        section.add("separable", group(protocols=f"{a} - {b}"), note=note,
                    text="not separable from site" if tied else "separable")
    return section.done()
