"""What could make the figures wrong: cautions made by rule, each with the people concerned and the way it pulls."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import polars as pl

from pipeline.analyse.common import PRESSURES, Frames, Section, group
from pipeline.analyse.effects import twelve_week_gains
from pipeline.analyse.people import NOT_YET, eligible, with_exits
from pipeline.identity.day_offsets import RELATIVE
from pipeline.reference.sham_arms import sham_range
from pipeline.results import ResultSet
from pipeline.settings import Settings

Counted = tuple[int, int]


@dataclass(frozen=True)
class Caution:
    """One rule. `count` gives (people concerned, people looked at); it fires when somebody is concerned."""

    slug: str
    text: str
    note: str
    count: Callable[[Frames, Settings], Counted]


def _gained(frames: Frames) -> pl.DataFrame:
    """People with a 12-week gain of either pressure, MIP first, one row a person."""
    return pl.concat([twelve_week_gains(frames, p) for p in PRESSURES]).unique(
        ["client_key"], keep="first", maintain_order=True
    )


def _all(frames: Frames, settings: Settings) -> Counted:
    del settings
    n = _gained(frames).height
    return n, n


def _naive(frames: Frames, settings: Settings) -> Counted:
    del settings
    people = _gained(frames)
    return people.filter(pl.col("first_ever")).height, people.height


def _lost(frames: Frames, settings: Settings) -> Counted:
    people = with_exits(eligible(frames, "mip"), settings).filter(
        pl.col("baseline_cmh2o").is_not_null()
        & (pl.col("exit_reason").is_null() | (pl.col("exit_reason") != NOT_YET))
    )
    return people.filter(pl.col("gain12_cmh2o").is_null()).height, people.height


def _unlogged(frames: Frames, settings: Settings) -> Counted:
    people = frames["adherence"].unique(["client_key"], keep="first", maintain_order=True)
    few = people.filter(pl.col("logged_pct").fill_null(0.0) < settings.logged_share_for_dose_reason)
    return few.height, people.height


def _gauge(frames: Frames, settings: Settings) -> Counted:
    """People whose comparable tests straddle a repair, a replacement or another label of the manometer."""
    del settings
    rows = frames["model"].sort("client_key", "tested_on")
    span = rows.group_by("client_key").agg(
        pl.col("tested_on").min().alias("first"), pl.col("tested_on").max().alias("last"),
        pl.col("instrument").drop_nulls().unique().alias("labels"), pl.col("site").first(),
    )  # fmt: skip
    changed = frames["instruments"].filter(pl.col("what").cast(pl.String) != "calibrated")
    crossed = span.join(changed.select("site", "event_on", "instrument"), on="site", how="inner").filter(
        (pl.col("first") < pl.col("event_on")) & (pl.col("last") >= pl.col("event_on"))
        & pl.col("labels").list.contains(pl.col("instrument"))
    )
    several = span.filter(pl.col("labels").list.len() > 1)
    keys = set(crossed["client_key"].to_list()) | set(several["client_key"].to_list())
    return len(keys), span.height


def _best_only(frames: Frames, settings: Settings) -> Counted:
    del settings
    rows = frames["model"].group_by("client_key").agg(pl.col("efforts_kept").is_null().any().alias("unknown"))
    return int(rows["unknown"].sum()), rows.height


def _not_repeatable(frames: Frames, settings: Settings) -> Counted:
    del settings
    rows = frames["test_days"].group_by("client_key").agg((~pl.col("is_rep20")).any().alias("loose"))
    return int(rows["loose"].fill_null(False).sum()), rows.height


def _by_rule(frames: Frames, settings: Settings) -> Counted:
    del settings
    people = frames["courses"].filter(pl.col("is_primary"))
    return people.filter(pl.col("assigned_by") == "written_rule").height, people.height


def _no_sham(frames: Frames, settings: Settings) -> Counted:
    del settings
    people = _gained(frames)
    held = [c for c in people["condition_group"].drop_nulls().unique().to_list() if sham_range("mip", c)]
    return people.filter(~pl.col("condition_group").is_in(held).fill_null(False)).height, people.height


def _open(frames: Frames, settings: Settings) -> Counted:
    del settings
    courses = frames["courses"]
    return courses.filter(pl.col("is_open"))["client_key"].n_unique(), courses["client_key"].n_unique()


def _tested(frames: Frames, settings: Settings) -> Counted:
    del settings
    n = frames["model"]["client_key"].n_unique()
    return n, n


CAUTIONS = (
    Caution("no_comparison_group",
            "No comparison group: change includes learning, natural recovery, regression to the mean and survivor "
            "effects.", "pulls the gain up; the rise of published sham arms stands beside it", _all),
    Caution("learning", "Some baselines were the first test of the person's life; repeating a test alone raises MIP.",
            "pulls the gain up; shown with none, half and all of a published learning curve taken off", _naive),
    Caution("no_later_test", "Some people with a baseline have no test in the 12-week window.",
            "those who stay often do better, which pulls the gain up; the model uses every test they have", _lost),
    Caution("unlogged", "For some people many weeks have no log, and an absent log is not a missed session.",
            "adherence may be off either way; shown with its lowest and highest possible value", _unlogged),
    Caution("manometer_changed", "Some people's tests straddle a repair or a change of the manometer.",
            "may pull either way; a change of label is not corrected", _gauge),
    Caution("best_effort_only", "For some tests only the best effort was kept.",
            "the best of many efforts is higher than the best of few; the median number is assumed", _best_only),
    Caution("not_repeatable", "Some tests have no second effort within 20 % of the best.",
            "widens error; kept and flagged", _not_repeatable),
    Caution("assigned_by_rule", "Some protocols were assigned by a written rule.",
            "if the rule reads the measured baseline, regression to the mean pulls that protocol up", _by_rule),
    Caution("no_sham_arm_held", "For some people's condition no sham arm is held to compare with.",
            "the sham range shown is that of other populations", _no_sham),
)  # fmt: skip

OF_RELATIVE = (
    Caution("own_ends", "Some courses still run, and each is told up to its client's own last row.",
            "weeks since then without any record are in no figure, which pulls adherence up", _open),
    Caution("manometers_unknown", "What was done to manometers is not known: its days belong to no client's own time.",
            "may pull either way; only a change of label between a person's own tests is seen", _tested),
)  # fmt: skip
"""Cautions of the date policy `relative` alone."""


def cautions(frames: Frames, settings: Settings) -> ResultSet:
    """Section "cautions": those that fire, by the share of people concerned, and what else was checked."""
    section = Section("quarter", "cautions")
    rules = CAUTIONS + (OF_RELATIVE if settings.date_policy == RELATIVE else ())
    found = [(c, *c.count(frames, settings)) for c in rules]
    fired = sorted((f for f in found if f[1] > 0), key=lambda f: (-f[1] / max(f[2], 1), rules.index(f[0])))
    for rank, (caution, hits, n) in enumerate(fired, start=1):
        section.add("caution", group(caution=caution.slug), at=float(rank), text=caution.text, note=caution.note,
                    n=n, hits=hits, value=100.0 * hits / n, unit="%")
    quiet = [c.slug.replace("_", " ") for c, hits, _ in found if hits == 0]
    section.add("checked", text="Looked for and not found: " + ", ".join(quiet) if quiet else "Every caution fired.")
    return section.done()
