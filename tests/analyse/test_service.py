"""The rows of the one-page editions, from a few people whose answer is plain."""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl
import pytest

from pipeline.analyse.across import sums_across
from pipeline.analyse.can_answer import data
from pipeline.analyse.service import service
from pipeline.identity.small_cells import broken_sums
from pipeline.reference.worthwhile import RISK_LEVELS
from pipeline.results import Result, ResultSet
from pipeline.settings import Settings

END = date(2026, 9, 30)
#: key, course, first day, weeks held, still open, reason, asked for, baseline (days before), 12-week test, goal
PEOPLE = (
    ("a", 1, date(2026, 1, 5), 20, False, "completed", "cough", 3, True, 60.0),
    ("a", 2, date(2026, 8, 3), 8, True, None, "cough", 0, False, None),
    ("b", 1, date(2026, 5, 4), 21, True, None, "voice", 5, False, 90.0),
    ("c", 1, date(2026, 6, 29), 13, True, None, None, 0, False, None),
    ("d", 1, date(2026, 4, 6), 25, True, None, "cough", 0, True, None),
    ("e", 1, date(2026, 4, 6), 15, False, "lost", "cough", None, False, None),
)


def courses() -> pl.DataFrame:
    rows = []
    for key, no, begun, weeks, is_open, reason, asked, _, _, goal in PEOPLE:
        last = END if is_open else begun + timedelta(days=7 * weeks - 1)
        caution = "cardiac" if key == "a" else None
        rows.append((key, no, begun, begun, last, is_open, reason, asked, caution, no == 1, 18, goal, None))
    names = ["client_key", "course_no", "from_on", "week0_on", "last_on", "is_open", "end_reason", "referral_reason",
             "caution", "is_primary", "planned_weeks", "goal_mip_cmh2o", "goal_mep_cmh2o"]
    kinds = {"goal_mip_cmh2o": pl.Float64, "goal_mep_cmh2o": pl.Float64}
    return pl.DataFrame(rows, schema=names, orient="row", schema_overrides=kinds)


def gains() -> pl.DataFrame:
    rows = [(key, no, pressure, None if before is None or pressure == "mep" else begun - timedelta(days=before),
             begun + timedelta(weeks=12) if tested and pressure == "mip" else None)
            for key, no, begun, *_, before, tested, _ in PEOPLE for pressure in ("mip", "mep")]
    days = {"baseline_on": pl.Date, "at12_on": pl.Date}
    return pl.DataFrame(rows, schema=["client_key", "course_no", "pressure", *days], orient="row",
                        schema_overrides=days)


def weeks() -> pl.DataFrame:
    """Everybody but b and c trained from the second week on, three sessions a week of six; e by diary."""
    rows = [(key, no, n, begun + timedelta(days=7 * n), "none" if n == 0 else "diary" if key == "e" else "sessions",
             None if n == 0 else 3, 6.0, int(key == "d" and n == 2))
            for key, no, begun, held, *_ in PEOPLE for n in range(held) if key not in "bc"]
    return pl.DataFrame(rows, orient="row", schema=["client_key", "course_no", "week_no", "week_from_on", "logged_by",
                                                    "sessions_done", "sessions_prescribed", "stopped_early"])


def comparable() -> pl.DataFrame:
    """a stood at 50, then twice at or above the goal of 60; b at 70, 95 and 80 with a goal of 90."""
    rows = [("a", 1, True, 50.0, "2026Q1"), ("a", 1, False, 60.0, "2026Q2"), ("a", 1, False, 64.0, "2026Q2"),
            ("b", 1, True, 70.0, "2026Q2"), ("b", 1, False, 95.0, "2026Q3"), ("b", 1, False, 80.0, "2026Q3")]
    return pl.DataFrame(rows, orient="row", schema=["client_key", "course_no", "is_baseline", "value_cmh2o",
                                                    "quarter"]).with_columns(pl.lit("mip").alias("pressure"))


def events() -> pl.DataFrame:
    return pl.DataFrame([("a", "no", "no"), ("a", "yes", "no"), ("d", None, "yes"), ("gone", "yes", "yes")],
                        schema=["client_key", "serious", "judged_related"], orient="row")


@pytest.fixture(scope="module")
def found() -> ResultSet:
    days = pl.DataFrame(schema={"client_key": pl.String})
    frames = {"courses": courses(), "gains": gains(), "client_weeks": weeks(), "model": comparable(),
              "events": events()}
    whole = data({**frames, "test_days": days}, "2026Q3") + service(frames, "2026Q3", Settings())
    return ResultSet(whole.rows, whole.partitions + sums_across(whole.rows))


@pytest.fixture(scope="module")
def rows(found: ResultSet) -> dict[str, Result]:
    return {r.key.removeprefix("quarter.service."): r for r in found.rows}


def test_who_came_and_trained(rows: dict[str, Result]) -> None:
    assert rows["opened[period=this]"].n == 1  # a's second course
    assert (rows["trained[period=this]"].hits, rows["trained[period=this]"].n) == (1, 1)
    assert (rows["trained[so_far=yes]"].hits, rows["trained[so_far=yes]"].n) == (3, 5)


def test_who_ended_is_told_by_the_last_course(rows: dict[str, Result]) -> None:
    assert rows["ended[so_far=yes]"].n == 1
    assert rows["ended[so_far=yes;reason=lost]"].n == 1 and "ended[so_far=yes;reason=completed]" not in rows
    assert rows["ended[period=this]"].n == 1  # e, on 19 July


def test_where_the_12_week_test_stands(rows: dict[str, Result]) -> None:
    where = "due[period=this;pressure=mip;standing="
    stands = {key.removeprefix(where)[:-1]: r.n for key, r in rows.items() if key.startswith(where)}
    assert stands == {"in the window, not tested": 1, "past the window, not tested": 1}
    assert rows[where.replace("mip", "mep") + "past the window, not tested]"].n == 0  # nobody has a baseline


def test_retested_and_goals_on_two_days(rows: dict[str, Result]) -> None:
    assert rows["retested[period=this;pressure=mip]"].n == 1
    assert (rows["goal_reached[pressure=mip]"].hits, rows["goal_reached[pressure=mip]"].n) == (1, 2)
    assert rows["goal_reached[pressure=mep]"].n == 0


def test_harms_are_of_people_with_a_course(rows: dict[str, Result]) -> None:
    counts = {name: (rows[f"{name}[so_far=yes]"].hits, rows[f"{name}[so_far=yes]"].n)
              for name in ("with_event", "with_serious", "with_related", "with_early_stop")}
    assert counts == {"with_event": (2, 5), "with_serious": (1, 2), "with_related": (1, 2), "with_early_stop": (1, 2)}


def test_the_usual_course(rows: dict[str, Result]) -> None:
    start, held = rows["days_to_start[so_far=yes]"], rows["course_weeks[so_far=yes]"]
    assert (start.value, start.low, start.high) == (7.0, 7.0, 8.5)  # a: 7 + 3 days; d and e: 7
    assert (held.value, held.n) == (17.5, 2)  # 20 and 15 weeks
    assert rows["done_sessions_per_week[so_far=yes]"].value == 3.0  # the week without a log is in no mean
    assert rows["referral[reason=cough]"].n == 3 and rows["referral[reason=not recorded]"].n == 1
    assert rows["caution[caution=not recorded]"].n == 4


def test_levels_come_from_the_reference(rows: dict[str, Result]) -> None:
    level = RISK_LEVELS[0]
    row = rows[f"look_again[measure={level.measure};level={level.below:g}]"]
    assert (row.value, row.note) == (level.below, level.citation)


def test_every_sum_adds_up_and_a_wrong_one_is_seen(found: ResultSet) -> None:
    assert broken_sums(found) == [] and len(found.partitions) > 6
    moved = tuple(Result(**{**vars(r), "n": 9}) if r.key == "quarter.service.ended[so_far=yes;reason=lost]" else r
                  for r in found.rows)
    assert broken_sums(ResultSet(moved, found.partitions))
