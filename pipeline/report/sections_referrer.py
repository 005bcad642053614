"""The one-page edition for a referrer: who is sent, how soon and how long, range of change, cautions, another look."""

from __future__ import annotations

from pipeline.report.look import Look, part
from pipeline.report.one_page import (
    AT_12,
    PRESSURES,
    SO_FAR,
    empty,
    facts,
    figure,
    gain_line,
    period,
    split_table,
    with_range,
)
from pipeline.report.views import Block, KeyFigure, Opening, SectionView, said, side, view
from pipeline.report.words import interval, is_hidden, people, reach, value, with_unit
from pipeline.results import Result

COURSE = ("days_to_start", "planned_weeks", "course_weeks", "prescribed_sessions_per_week", "done_sessions_per_week")
MOST_GROUPS = 6


def opening(look: Look) -> Opening:
    """How soon training starts and what the pressures did, in sentences and figures."""
    start, held = (look.one("service", s, SO_FAR) for s in ("days_to_start", "course_weeks"))
    gain, everybody = look.one("gains", "gain_cmh2o", "pressure=mip", AT_12), look.one("data", "people")
    lines = [gain_line(look)]
    if start is not None and start.value is not None:
        lines.insert(0, look.say("for_referrer.open.start", days=value(start, places=0), quartiles=_whole(start),
                                 n=people(start)))
    made = (
        figure(look, "for_referrer.open.fig_people", everybody, people(everybody), look.say("one_page.so_far")),
        _median(look, "fig_start", start), _median(look, "fig_weeks", held),
        figure(look, "for_referrer.open.fig_gain", gain if gain and gain.value is not None else None, with_unit(gain),
               look.say("for_funder.open.gain_beneath", ci=interval(gain), n=people(gain))),
    )
    return Opening((*lines, look.say("for_referrer.open.whose")), tuple(f for f in made if f is not None))


def _whole(row: Result) -> str:
    """The quartiles of a median of days or weeks, in whole ones."""
    return reach(row.low or 0.0, row.high or 0.0)


def _median(look: Look, name: str, row: Result | None) -> KeyFigure | None:
    if row is None or row.value is None:
        return None
    return figure(look, f"for_referrer.open.{name}", row, value(row, places=0),
                  look.say("for_referrer.open.median_beneath", n=people(row), quartiles=_whole(row)))


def sent(look: Look) -> SectionView:
    """What the referrers asked for, and with which conditions people came."""
    asked = split_table(look, "t-asked", look.say("for_referrer.sent.caption"), look.many("service", "referral"),
                        "reason", "referral_reason")
    conditions = [r for r in look.many("who", "people", period="last4") if part(r, "condition_group")]
    mix = split_table(look, "t-conditions", look.say("one_page.conditions", period=period(look, "last4")), conditions,
                      "condition_group")
    return view(side(asked, mix) or empty(look))


def course(look: Look) -> SectionView:
    """Time to the start and the usual course, in medians with quartiles."""
    cells = []
    for name in COURSE:
        row = look.one("service", name, SO_FAR)
        if row is not None:
            middle = row.text if row.value is None else f"{value(row, places=0)} ({_whole(row)})"
            cells.append([look.say(f"for_referrer.course.{name}"), middle, people(row)])
    heads = [look.say("words.measure"), look.say("for_referrer.course.median"), look.say("words.people")]
    shown = facts(look, "t-course", look.say("for_referrer.course.caption"), heads, cells)
    return view(shown or empty(look), _how_ended(look))


def _how_ended(look: Look) -> Block | None:
    done, ended = look.one("service", "ended", f"{SO_FAR};reason=completed"), look.one("service", "ended", SO_FAR)
    if done is None or ended is None or done.n is None or ended.n is None:
        return None
    return said(look.say("for_referrer.course.completed", n=people(done), ended=people(ended)))


def change(look: Look) -> SectionView:
    """Change of the pressures as measured: mean with interval, and the middle 80 % of persons; by condition for MIP."""
    rows, gone = [], []
    for pressure in PRESSURES:
        whole = look.one("gains", "raw_gain_cmh2o", f"pressure={pressure}", AT_12)
        groups = [r for r in look.many("gains", "raw_gain_cmh2o", pressure=pressure) if part(r, "condition_group")]
        name = look.texts.name("pressure", pressure)
        if whole is not None:
            rows.append(_change(look, name, whole))
        if pressure == "mip":
            gone = [look.texts.name("condition_group", part(r, "condition_group")) for r in groups if r.value is None]
            most = sorted((r for r in groups if r.value is not None), key=lambda r: (-(r.n or 0), r.group))
            rows += [_change(look, f"{name}, {look.texts.name('condition_group', part(r, 'condition_group'))}", r)
                     for r in most[:MOST_GROUPS]]
    heads = [look.say(f"for_referrer.change.{h}") for h in ("group", "mean", "middle", "n")]
    shown = facts(look, "t-change", look.say("for_referrer.change.caption"), heads, rows)
    hidden = look.say("one_page.hidden", groups=", ".join(gone)) if gone else ""
    return view(shown or empty(look, "gains"), said(hidden, tone="note"),
                said(look.say("for_referrer.change.uncontrolled"), tone="note") if shown else None)


def _change(look: Look, label: str, row: Result) -> list[str]:
    middle = look.one("gains", "middle_80_cmh2o", row.group, AT_12)
    spread = interval(middle, "no figure") if middle is not None and middle.low is not None else "no figure"
    mean = value(row) if row.value is None or row.low is None else f"{value(row)} ({interval(row)})"
    return [label, mean, spread, people(row)]


def caution(look: Look) -> SectionView:
    """The cautions that stand in the records, and harms so far."""
    held = split_table(look, "t-cautions", look.say("for_referrer.caution.caption"), look.many("service", "caution"),
                       "caution")
    harm = look.one("service", "with_event", SO_FAR)
    line = "" if harm is None or is_hidden(harm) or harm.value is None else look.say(
        "for_referrer.caution.events", share=with_range(harm), n=people(harm))
    return view(held or empty(look), said(line),
                said(look.say("for_referrer.caution.clearance"), tone="note"))


def back(look: Look) -> SectionView:
    """Published levels, and changes past error, that call for another look."""
    rows = []
    for r in look.many("service", "look_again"):
        measure = look.texts.name("measure", part(r, "measure"))
        kind = "under" if part(r, "level") else "less"
        size = f"{value(r, places=0)} {r.unit}"
        rows.append([look.say(f"for_referrer.back.{kind}", measure=measure, size=size), _why(look, r), r.note])
    falls = [look.say("for_referrer.back.fall", pressure=look.texts.name("pressure", p), size=with_unit(sdc))
             for p in PRESSURES if (sdc := look.one("gains", "sdc95_cmh2o", f"pressure={p}")) and sdc.value is not None]
    if falls:
        rows.insert(0, ["; ".join(falls), look.say("for_referrer.back.past_error"), look.say("for_referrer.back.here")])
    heads = [look.say(f"for_referrer.back.{h}") for h in ("what", "why", "source")]
    shown = facts(look, "t-back", look.say("for_referrer.back.caption"), heads, rows, words=3)
    return view(shown, said(look.say("for_referrer.back.event"), look.say("for_referrer.back.stall")))


def _why(look: Look, row: Result) -> str:
    population = part(row, "population")
    if not population:
        return row.text
    return look.say("for_referrer.back.noticed", population=look.texts.tell(population), range=_whole(row))
