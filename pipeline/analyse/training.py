"""What was done: dose against prescription, effort against the target band, steps of the resistance setting."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import polars as pl

from pipeline.analyse.common import FEW, MEDIAN, Frames, Section, counting, group, periods
from pipeline.analyse.people import present
from pipeline.results import ResultSet

ADHERENCE = ("session_adherence_pct", "session_adherence_unpaused_pct", "breath_adherence_pct",
             "breath_adherence_unpaused_pct", "logged_pct")  # fmt: skip
BOUNDS = ("session_adherence_low_pct", "session_adherence_high_pct")
DOSE_BANDS = ("under 50 %", "50 to under 80 %", "80 to 120 %", "over 120 %", "not known")
EFFORT = {"rated_below": "below", "rated_in": "in", "rated_above": "above", "not_rated": "not recorded"}
IN_BAND = ("0 to under 20 %", "20 to under 40 %", "40 to under 60 %", "60 to under 80 %", "80 to 100 %")
NOT_RATED = "no session rated"
LAST_WEEK = 26
CAP = 100.0
CAPPED = MEDIAN + "; more than prescribed counts as 100 %"


def of_people(frames: Frames, quarters: list[str]) -> pl.DataFrame:
    """The quarter rows of those present, one row a person (the first course of each)."""
    rows = frames["client_quarters"].filter(pl.col("quarter").is_in(quarters)).sort("client_key", "quarter")
    return rows.join(present(frames, quarters), on=["client_key", "course_no"], how="semi").unique(
        ["client_key"], keep="last", maintain_order=True
    )


def capped(column: str) -> pl.Expr:
    """A percentage with 100 as its top, as tables show it."""
    return pl.col(column).clip(None, CAP)


def _shares(section: Section, rows: pl.DataFrame, where: str, columns: tuple[str, ...]) -> None:
    for column in columns:
        section.median(column, where, rows.select(capped(column))[column], "%", of=rows.height, method=CAPPED)


def _bands(section: Section, rows: pl.DataFrame) -> None:
    share = pl.col("session_adherence_pct")
    band = (
        pl.when(share < 50).then(pl.lit(DOSE_BANDS[0])).when(share < 80).then(pl.lit(DOSE_BANDS[1]))
        .when(share <= 120).then(pl.lit(DOSE_BANDS[2])).when(share.is_not_null()).then(pl.lit(DOSE_BANDS[3]))
        .otherwise(pl.lit(DOSE_BANDS[4])).alias("adherence")
    )  # fmt: skip
    total = section.add("people", group(period="this"), n=rows.height)
    section.split("people", total, rows.with_columns(band), "adherence", within={"period": "this"}, order=DOSE_BANDS)


def first_course_weeks(frames: Frames) -> pl.DataFrame:
    """Weeks 1 to 26 of first courses, with the share of the sessions prescribed outside pauses that was done."""
    first = frames["courses"].filter(pl.col("is_primary")).select("client_key", "course_no")
    asked = pl.col("sessions_prescribed_unpaused")
    return (
        frames["client_weeks"].join(first, on=["client_key", "course_no"], how="semi")
        .with_columns((pl.col("week_no") + 1).alias("week"),
                      pl.when(asked > 0).then(100.0 * pl.col("sessions_done") / asked).alias("done_pct"))
        .filter(pl.col("week") <= LAST_WEEK).sort("client_key", "week")
    )  # fmt: skip


def _by_week(section: Section, weeks: pl.DataFrame) -> None:
    shown = steady_counts(weeks)
    for week in range(1, LAST_WEEK + 1):
        here = weeks.filter(pl.col("week") == week)
        same = week > 1 and shown[week] == shown[week - 1]
        section.add("people_at_week", at=float(week), n=None if same else shown[week],
                    text="up to 10 fewer than in the week before that has a number" if same else "")
        done = here.select(capped("done_pct"))["done_pct"]
        found = section.median("adherence_by_week_pct", "all", done, "%", at=float(week), method=CAPPED)
        section.rows[-1] = replace(found, **at_most(found.n, shown[week]))


def steady_counts(weeks: pl.DataFrame) -> dict[int, int]:
    """People at each week as they may be printed: a week with 1 to 10 fewer than the last one printed repeats it."""
    counts = {w: weeks.filter(pl.col("week") == w)["client_key"].n_unique() for w in range(1, LAST_WEEK + 1)}
    shown: dict[int, int] = {}
    last = 0
    for week, count in counts.items():
        last = last if shown and 0 <= last - count <= FEW and count > FEW else count
        shown[week] = last
    return shown


def at_most(known: int | None, shown: int) -> dict[str, Any]:
    """Fields of a weekly summary: its exact number of people only where it is small and will be hidden anyway."""
    if known is None or known <= FEW:
        return {}
    return {"n": shown, "n_of": "people at most", "n_people": shown}


def dose(frames: Frames, quarter: str) -> ResultSet:
    """Section "dose": three adherences, each with its logging coverage and bounds."""
    section = Section("quarter", "dose")
    rows = {p: of_people(frames, q) for p, q in periods(quarter).items() if p != "last4"}
    if rows["this"].is_empty():
        section.state("No one trained or was tested in this quarter.")
    for period, seen in rows.items():
        _shares(section, seen, group(period=period), ADHERENCE)
    now = rows["this"]
    _shares(section, now, group(period="this"), BOUNDS)
    for protocol in sorted(now["protocol"].unique().to_list()):
        here = now.filter(pl.col("protocol") == protocol)
        _shares(section, here, group(period="this", protocol=protocol), ADHERENCE)
    _bands(section, now)
    n = now.height
    section.share("no_prescription", group(period="this"), now.filter(~pl.col("has_prescription")).height, n)
    section.share("people_paused", group(period="this"), now.filter(pl.col("paused_days") > 0).height, n)
    _by_week(section, first_course_weeks(frames))
    return section.done()


def _class_shares(weeks: pl.DataFrame) -> pl.DataFrame:
    """Each person's share (%) of sessions (or diary weeks) in each class of effort; people with none drop out."""
    sums = weeks.group_by("client_key").agg(pl.col(list(EFFORT)).sum()).sort("client_key")
    whole = pl.sum_horizontal(list(EFFORT))
    return sums.filter(whole > 0).with_columns((100.0 * pl.col(c) / whole).alias(c) for c in EFFORT)


def _effort_shares(
    section: Section, statistic: str, weeks: pl.DataFrame, within: dict[str, str], at: float | None, of: int | None
) -> None:
    people = _class_shares(weeks)
    count: dict[str, Any] = {"n": people.height}
    if of is not None:
        count = counting(people.height, of) if at is None else count | at_most(people.height, of)
    for column, label in EFFORT.items():
        value = people[column].mean() if people.height else None
        section.add(statistic, group(**within, **{"class": label}), at=at, **count, value=value, unit="%",
                    method="mean over people of each one's share", text="" if people.height else "nobody trained")


def effort(frames: Frames, quarter: str) -> ResultSet:
    """Section "effort": shares below, in and above the band of the prescription in force, and not recorded."""
    section = Section("quarter", "effort")
    for period in ("this", "last"):
        weeks = frames["client_weeks"].filter(pl.col("quarter").is_in(periods(quarter)[period]))
        people = of_people(frames, periods(quarter)[period])
        _effort_shares(section, "effort_share_pct", weeks, {"period": period}, None, people.height)
        section.median("in_band_pct", group(period=period), people["in_band_pct"], "%", of=people.height)
    now = of_people(frames, [quarter])
    total = section.add("people", group(period="this"), n=now.height)
    place = (pl.col("in_band_pct") / 20).floor().clip(0, 4).cast(pl.Int64)
    named = place.replace_strict(dict(enumerate(IN_BAND)), return_dtype=pl.String).fill_null(NOT_RATED)
    section.split("people_by_in_band", total, now.with_columns(named.alias("band")), "band",
                  within={"period": "this"}, order=(*IN_BAND, NOT_RATED))
    weeks = first_course_weeks(frames)
    shown = steady_counts(weeks)
    for week in range(1, LAST_WEEK + 1):
        here = weeks.filter(pl.col("week") == week)
        _effort_shares(section, "effort_share_by_week_pct", here, {}, float(week), shown[week])
    return section.done()


def _steps(section: Section, weeks: pl.DataFrame) -> None:
    up, down = pl.col("steps_up").fill_null(0), pl.col("steps_down").fill_null(0)
    change = pl.when(up > down).then(pl.lit("up")).when(down > up).then(pl.lit("down")).otherwise(pl.lit("same"))
    seen = weeks.with_columns(change.alias("change"))
    for device in sorted(seen["device_class"].drop_nulls().unique().to_list()):
        here = seen.filter(pl.col("device_class") == device)
        for label in ("up", "same", "down"):
            part = here.filter(pl.col("change") == label)
            section.share("weeks", group(device_class=device, change=label), part.height, here.height, n_of="weeks",
                          n_people=part["client_key"].n_unique())


def settings_moved(frames: Frames, quarter: str) -> ResultSet:
    """Section "settings": weekly steps of the resistance setting by device class; classes are never averaged."""
    section = Section("quarter", "settings")
    known = pl.col("inhale_setting_median").is_not_null() | pl.col("exhale_setting_median").is_not_null()
    weeks = frames["client_weeks"].filter(known)
    now = weeks.filter(pl.col("quarter") == quarter)
    if now.is_empty():
        section.state("No resistance settings were recorded this quarter.")
    _steps(section, now)
    this = frames["client_quarters"].filter((pl.col("quarter") == quarter) & (pl.col("eased_sessions") > 0))
    section.add("eased_sessions", group(period="this"), n=int(this["eased_sessions"].sum() or 0), n_of="sessions",
                n_people=this["client_key"].n_unique(),
                note="a lower setting with a reason is titration, not a failure to train")
    for device in sorted(weeks["device_class"].drop_nulls().unique().to_list()):
        for direction in ("inhale", "exhale"):
            for week in range(0, 25, 4):
                here = weeks.filter((pl.col("device_class") == device) & (pl.col("week_no") == week))
                values = here[f"{direction}_setting_median"].drop_nulls()
                if values.len():
                    section.median("setting_median", group(device_class=device, direction=direction), values,
                                   "setting", at=float(week))
    return section.done()
