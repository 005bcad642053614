"""What the records of one client hold on the window of a flag: the input of the reasons. Null is not recorded."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import polars as pl

from pipeline.analyse.common import Frames
from pipeline.stats.reasons import TEST_CONDITIONS, Evidence

CHANGED_BY = ("repaired", "replaced")


@dataclass(frozen=True)
class Records:
    """The frames of one course, cut out once."""

    weeks: pl.DataFrame
    tests: pl.DataFrame
    pauses: pl.DataFrame
    events: pl.DataFrame
    has_pauses: bool
    has_events: bool


class Cutter:
    """Cuts the frames by course once, so that a course costs a look-up; an absent table is not recorded, not empty."""

    def __init__(self, frames: Frames, pressure: str) -> None:
        tests = frames["test_days"].filter(pl.col("pressure") == pressure)
        self._frames = {"tests": tests.sort("tested_on"), "weeks": frames["client_weeks"].sort("week_no"),
                        "pauses": frames["pauses"].sort("from_on"), "events": frames["events"].sort("event_on")}
        self._cut = {
            name: frame.partition_by("client_key", "course_no", as_dict=True, maintain_order=True)
            for name, frame in self._frames.items()
        }
        told = set(frames["files"]["table_name"].to_list())
        self._told = {"has_pauses": "pauses" in told, "has_events": "events" in told}

    def records(self, client_key: str, course_no: int) -> Records:
        """The rows of one course, in the order of time."""
        mine = {n: cut.get((client_key, course_no), self._frames[n].clear()) for n, cut in self._cut.items()}
        return Records(mine["weeks"], mine["tests"], mine["pauses"], mine["events"], **self._told)


def _changed(tests: pl.DataFrame, column: str) -> bool | None:
    """True if the recorded values of a test condition differ; None if none is recorded."""
    values = set(tests[column].drop_nulls().to_list())
    return None if not values else len(values) > 1


def test_changes(tests: pl.DataFrame, instruments: pl.DataFrame) -> dict[str, bool | None]:
    """Which conditions changed between these tests; a repair or a new gauge under the same label counts."""
    found = {what: _changed(tests, what) for what in TEST_CONDITIONS if what != "tester"}
    tester = set(tests["same_tester"].drop_nulls().to_list()) - {"unknown"}
    found["tester"] = None if not tester else "no" in tester
    if tests.height and not found["instrument"]:
        first, last = tests["tested_on"].min(), tests["tested_on"].max()
        used = tests.select("site", "instrument").drop_nulls().unique()
        events = instruments.filter(pl.col("what").is_in(CHANGED_BY)).join(used, on=["site", "instrument"], how="semi")
        if events.filter((pl.col("event_on") > first) & (pl.col("event_on") <= last)).height:
            found["instrument"] = True
    return found


def _total(frame: pl.DataFrame, column: str) -> float | None:
    """Sum of the recorded values; None where nothing is recorded."""
    seen = frame[column].drop_nulls()
    return float(seen.sum()) if seen.len() else None


def _share(part: float | None, whole: float | None) -> float | None:
    return None if part is None or not whole else 100.0 * part / whole


def _effort_change(weeks: pl.DataFrame) -> float | None:
    """Mean effort of the window's second half less the first; None if a half has none or the scale changed."""
    rated = weeks.filter(pl.col("effort_median").is_not_null())
    if rated["effort_scale"].drop_nulls().n_unique() != 1 or rated.height < 2:
        return None
    middle = (float(weeks["week_no"].min()) + float(weeks["week_no"].max())) / 2  # type: ignore[arg-type]
    halves = [rated.filter(side)["effort_median"].mean() for side in
              (pl.col("week_no") <= middle, pl.col("week_no") > middle)]  # fmt: skip
    return None if None in halves else float(halves[1]) - float(halves[0])  # type: ignore[arg-type]


def usual_effort(records: Records, since_week: float, until_week: float) -> float | None:
    """Median of the weekly efforts from `since_week` on; None without ratings, or where the scale changed."""
    weeks = records.weeks.filter(pl.col("week_no").is_between(since_week, until_week))
    seen = weeks.filter(pl.col("effort_median").is_not_null())
    middle = seen["effort_median"].median() if seen["effort_scale"].drop_nulls().n_unique() == 1 else None
    return None if middle is None else float(middle)  # type: ignore[arg-type]


def _quiet_since(records: Records, look_on: date) -> int | None:
    """Days since the last early stop, event or day of a pause; None if there was none."""
    stops = records.weeks.filter(pl.col("stopped_early").fill_null(0) > 0)["week_from_on"].to_list()
    days = [day + timedelta(days=6) for day in stops] + records.events["event_on"].to_list()
    days += [day or look_on for day in records.pauses["until_on"].to_list()]
    return max(0, (look_on - max(min(d, look_on) for d in days)).days) if days else None


def evidence(
    records: Records, instruments: pl.DataFrame, course: dict[str, Any], verdict: dict[str, Any]
) -> Evidence:
    """Gather the evidence on the weeks of the verdict's slope window, up to the look.

    course: a row of `judged`; verdict: a row of `judge_clients`. Paused weeks are no missed sessions.
    """
    span = float(verdict["slope_window_weeks"] or 12.0)
    since = float(course["look_week"]) - span
    weeks = records.weeks.filter((pl.col("week_no") + 1 > since) & (pl.col("week_no") <= course["look_week"]))
    in_window = pl.col("week") >= since
    logged = weeks.filter(pl.col("logged_by") != "none")
    rated = sum(_total(weeks, c) or 0.0 for c in ("rated_below", "rated_in", "rated_above"))
    has_setting = pl.col("inhale_setting_median").is_not_null() | pl.col("exhale_setting_median").is_not_null()
    settings = weeks.filter(has_setting)
    ill, paused = _total(weeks, "illness_days"), _total(weeks, "paused_days")
    eased, steps = _total(weeks, "eased_sessions"), _total(settings, "steps_up")
    return Evidence(
        test_changed=test_changes(_tests_in(records.tests, since), instruments),
        power_if_flat=verdict["power_if_flat"], tests=int(verdict["tests"] or 0),
        ill_days=int(ill) if records.has_pauses and ill is not None else None,
        pause_days=int(paused) if records.has_pauses and paused is not None else None,
        events=records.events.filter(in_window).height if records.has_events else None,
        eased_sessions=int(eased) if eased is not None else None,
        logged_pct=_share(float(logged.height), float(weeks.height)) if weeks.height else None,
        adherence_pct=_share(_total(logged, "sessions_done"), _total(logged, "sessions_prescribed_unpaused")),
        effort_under_pct=_share(_total(weeks, "rated_below"), rated),
        effort_over_pct=_share(_total(weeks, "rated_above"), rated),
        setting_steps_up=int(steps) if steps is not None else None, effort_change=_effort_change(weeks),
        aim=course["aim"], caution=course["caution"], condition_group=course["condition_group"],
        days_since_quiet=_quiet_since(records, course["look_on"]),
    )  # fmt: skip


def _tests_in(tests: pl.DataFrame, since: float) -> pl.DataFrame:
    """The tests of the window and the last one before it: a change between them shows in the window."""
    before = tests.filter(pl.col("week") < since).tail(1)
    return pl.concat([before, tests.filter(pl.col("week") >= since)])
