"""The service as a manager, a funder and a referrer ask about it: who came, started, ended, is due a test, was harmed.

Counts of a quarter say so (period=this); all others gather everybody up to its end. Counts of several quarters are not
made: with those of single quarters, of which earlier editions show some, they would give the hidden one back. Nor is
the number of running courses told: beside the courses opened and ended it would give back how many ended.
"""

from __future__ import annotations

from datetime import timedelta

import polars as pl

from pipeline.analyse.common import PRESSURES, Frames, Section, group, labelled
from pipeline.analyse.decisions import kept
from pipeline.analyse.usual_course import COURSE, EVERYBODY, SO_FAR, usual_course
from pipeline.contract.annotations import DECISION
from pipeline.identity.quarters import before, last_day
from pipeline.identity.shared_ledger import OF
from pipeline.results import Partition, ResultSet
from pipeline.settings import Settings

NOW = {"period": "this"}
IN_WINDOW, PAST_WINDOW = "in the window, not tested", "past the window, not tested"


def _in(column: str, quarter: str) -> pl.Expr:
    """Whether a day lies in the quarter."""
    earlier = before(quarter, 1)
    since = pl.lit(True) if earlier is None else pl.col(column) > last_day(earlier)
    return since & (pl.col(column) <= last_day(quarter))


def _people(rows: pl.DataFrame) -> int:
    return rows["client_key"].n_unique()


def _begun(section: Section, frames: Frames, quarter: str) -> None:
    """People whose course was opened, and those of them who trained in it by the end of the quarter."""
    trained = frames["client_weeks"].filter(pl.col("sessions_done") > 0).join(
        frames["courses"], on=COURSE, how="semi").select(COURSE).unique()
    now = frames["courses"].filter(_in("from_on", quarter))
    section.add("opened", group(**NOW), n=_people(now))
    section.share("trained", group(**NOW), _people(now.join(trained, on=COURSE, how="semi")), _people(now))
    ever = section.share("trained", SO_FAR, _people(trained), _people(frames["courses"]))
    section.sums.append(Partition(EVERYBODY, (ever.key + OF,)))


def _retested(section: Section, frames: Frames, quarter: str) -> None:
    again = frames["model"].filter(~pl.col("is_baseline") & (pl.col("quarter") == quarter))
    for pressure in PRESSURES:
        here = again.filter(pl.col("pressure") == pressure)
        section.add("retested", group(**NOW, pressure=pressure), n=_people(here))


def latest_courses(frames: Frames) -> pl.DataFrame:
    """The course begun last of each person."""
    return frames["courses"].sort("client_key", "from_on", "course_no").unique("client_key", keep="last",
                                                                               maintain_order=True)


def _ended(section: Section, frames: Frames, quarter: str) -> None:
    """People whose course ended in the quarter; those whose last course has ended so far, by the reason on record."""
    closed = frames["courses"].filter(~pl.col("is_open") & _in("last_on", quarter))
    section.add("ended", group(**NOW), n=_people(closed))
    over = latest_courses(frames).filter(~pl.col("is_open"))
    ended = section.add("ended", SO_FAR, n=over.height, note="by the course begun last")
    section.split("ended", ended, over, "end_reason", within={"so_far": "yes"}, name="reason")


def _due(section: Section, frames: Frames, settings: Settings) -> None:
    """People in a running course with a baseline and no 12-week test, whose window is open or past."""
    going = latest_courses(frames).filter(pl.col("is_open")).select(*COURSE, "week0_on", "last_on")
    low, high = (timedelta(weeks=w) for w in (settings.window_12_low_weeks, settings.window_12_high_weeks))
    for pressure in PRESSURES:
        untested = frames["gains"].filter((pl.col("pressure") == pressure) & pl.col("baseline_on").is_not_null()
                                          & pl.col("at12_on").is_null())  # fmt: skip
        people = going.join(untested.select(COURSE), on=COURSE, how="semi")
        since, past = (people.filter(pl.col("last_on") >= pl.col("week0_on") + low),
                       people.filter(pl.col("last_on") > pl.col("week0_on") + high))
        for standing, n in ((IN_WINDOW, since.height - past.height), (PAST_WINDOW, past.height)):
            section.add("due", group(**NOW, pressure=pressure, standing=standing), n=n)


def _harms(section: Section, frames: Frames) -> None:
    """People with an untoward event, a serious and a related one, and a session stopped early, so far."""
    events, everybody = frames["events"], _people(frames["courses"])
    known = events.join(frames["courses"].select("client_key").unique(), on="client_key", how="semi")
    with_event = section.share("with_event", SO_FAR, _people(known), everybody,
                               note="rows set aside and rows without a course are not in")  # fmt: skip
    section.sums.append(Partition(EVERYBODY, (with_event.key + OF,)))
    for column, name in (("serious", "with_serious"), ("judged_related", "with_related")):
        found = known.filter(labelled(column) == "yes")
        row = section.share(name, SO_FAR, _people(found), _people(known), note="of those with an event")
        section.sums.append(Partition(with_event.key, (row.key + OF,)))
    told = frames["client_weeks"].filter(labelled("logged_by") == "sessions")
    section.share("with_early_stop", SO_FAR, _people(told.filter(pl.col("stopped_early") > 0)), _people(told),
                  note="of those whose sessions are told one by one")  # fmt: skip


def _open_decisions(section: Section, frames: Frames, quarter: str) -> None:
    """Decisions of earlier reviews, and those without a word on what followed: counts of notes, about nobody."""
    made = kept(frames, quarter).filter((pl.col("kind") == DECISION) & (pl.col("of_quarter") < quarter))
    waiting = made.filter(pl.col("followed").fill_null("") == "")
    for name, found in (("decisions", made), ("decisions_open", waiting)):
        section.add(name, SO_FAR, n=found.height, n_of="decisions", n_people=0)


def service(frames: Frames, quarter: str, settings: Settings) -> ResultSet:
    """Section "service" of the quarter: what the one-page editions need beside the sections of the meeting."""
    section = Section("quarter", "service")
    _begun(section, frames, quarter)
    _retested(section, frames, quarter)
    _ended(section, frames, quarter)
    _due(section, frames, settings)
    _harms(section, frames)
    _open_decisions(section, frames, quarter)
    usual_course(section, frames)
    return section.done()
