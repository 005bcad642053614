"""The one-page edition for a funder: reach, dose, gain beside sham arms, function and goals, harms, who is missing."""

from __future__ import annotations

from pipeline.report.look import Look, part
from pipeline.report.one_page import (
    AT_12,
    PRESSURES,
    SO_FAR,
    THIS,
    empty,
    facts,
    figure,
    gain_line,
    harms,
    period,
    sham,
    split_table,
    with_range,
)
from pipeline.report.views import Block, Opening, SectionView, said, side, view
from pipeline.report.words import interval, is_hidden, number, of, people, value, with_unit
from pipeline.results import Result

DOSE = ("session_adherence_pct", "session_adherence_low_pct", "session_adherence_high_pct", "logged_pct")


def opening(look: Look) -> Opening:
    """Reach and gain in sentences, with the limit of the gain; the same as figures."""
    who, everybody = look.one("who", "people", THIS), look.one("data", "people")
    gain, harm = look.one("gains", "gain_cmh2o", "pressure=mip", AT_12), look.one("service", "with_event", SO_FAR)
    dose = look.one("dose", "session_adherence_pct", THIS)
    lines = [_people_line(look, who), gain_line(look)]
    made = (
        figure(look, "for_funder.open.fig_people", everybody, people(everybody), look.say("one_page.so_far")),
        figure(look, "for_funder.open.fig_gain", gain if gain and gain.value is not None else None, with_unit(gain),
               look.say("for_funder.open.gain_beneath", ci=interval(gain), n=people(gain))),
        figure(look, "for_funder.open.fig_dose", dose if dose and dose.value is not None else None, with_unit(dose),
               look.say("for_funder.open.dose_beneath", n=people(dose), quartiles=interval(dose))),
        figure(look, "for_funder.open.fig_harm", harm, of(harm), look.say("one_page.so_far")),
    )
    return Opening(tuple(s for s in lines if s), tuple(f for f in made if f is not None))


def _people_line(look: Look, who: Result | None) -> str:
    if who is None or who.n == 0:
        return look.say("one_page.nobody", period=period(look))
    if is_hidden(who):
        return look.say("one_page.hidden_people")
    return look.say("one_page.people", n=people(who), period=period(look))


def reached(look: Look) -> SectionView:
    """How many people, and with which conditions."""
    rows = [(look.one("who", "people", THIS), "this"), (look.one("who", "people", "period=this;standing=new"), "new"),
            (look.one("who", "people", "period=last4"), "last4"), (look.one("data", "people"), "all")]
    cells = [[look.say(f"for_funder.reached.{name}", period=period(look), last4=period(look, "last4")), people(r)]
             for r, name in rows if r is not None]
    shown = facts(look, "t-reached", look.say("for_funder.reached.caption"),
                  [look.say("one_page.what"), look.say("words.people")], cells)
    conditions = [r for r in look.many("who", "people", period="last4") if part(r, "condition_group")]
    mix = split_table(look, "t-conditions", look.say("one_page.conditions", period=period(look, "last4")), conditions,
                      "condition_group")
    return view(side(shown, mix) or empty(look))


def trained(look: Look) -> SectionView:
    """Sessions done of prescribed with bounds, weeks logged, ratings in the band."""
    found = [(look.one("dose", s, THIS), s) for s in DOSE]
    found.append((look.one("effort", "in_band_pct", THIS), "in_band_pct"))
    cells = [[look.say(f"for_funder.trained.{name}"), with_range(r), people(r)] for r, name in found if r is not None]
    heads = [look.say("words.measure"), look.say("for_funder.trained.median"), look.say("words.people")]
    shown = facts(look, "t-dose", look.say("for_funder.trained.caption", period=period(look)), heads, cells)
    return view(shown or empty(look, "dose"))


def gain(look: Look) -> SectionView:
    """Gain by the model, beside sham arms; the share past error beside what error and learning alone would give."""
    rows = []
    for pressure in PRESSURES:
        where = f"pressure={pressure}"
        found = look.one("gains", "gain_cmh2o", where, AT_12)
        up = look.one("past_error", "zone", f"{where};zone=up", AT_12)
        alone = look.one("past_error", "by_chance_pct", f"{where};learning=half", AT_12)
        if found is not None:
            rows.append([look.texts.name("pressure", pressure), with_range(found), people(found), sham(look, pressure),
                         of(up, "no figure"), with_unit(alone, "no figure")])
    heads = [look.say(f"for_funder.gain.{h}") for h in ("pressure", "gain", "n", "sham", "past", "alone")]
    shown = facts(look, "t-gain", look.say("for_funder.gain.caption"), heads, rows)
    return view(shown or empty(look, "gains"),
                said(look.say("quarter.gains.uncontrolled"), tone="note") if shown else None)


def beside(look: Look) -> SectionView:
    """Other measures of people measured twice, and goals reached."""
    rows, few = [], []
    for change in look.many("function", "change"):
        name = look.texts.name("measure", part(change, "measure"))
        if change.value is None:
            few.append(name)
            continue
        rows.append([name, with_unit(look.one("function", "start", change.group)), with_range(change), people(change)])
    heads = [look.say(f"for_funder.beside.{h}") for h in ("measure", "start", "change", "n")]
    shown = facts(look, "t-function", look.say("for_funder.beside.caption"), heads, rows)
    hidden = look.say("one_page.hidden", groups=", ".join(few)) if few else ""
    goals = [_goal(look, p) for p in PRESSURES]
    none = said(look.say("for_funder.beside.none"), tone="empty") if not (shown or hidden or any(goals)) else None
    return view(shown, said(*goals), said(hidden, tone="note"), none)


def _goal(look: Look, pressure: str) -> str:
    row = look.one("service", "goal_reached", f"pressure={pressure}")
    if row is None or row.n == 0:
        return ""
    name = look.texts.name("pressure", pressure)
    if row.value is None:
        return look.say("for_funder.beside.goal_hidden", pressure=name)
    return look.say("for_funder.beside.goal", pressure=name, share=of(row), ci=interval(row))


def harmed(look: Look) -> SectionView:
    """Harms in the quarter and so far."""
    return view(*harms(look))


FLOW = (("stay", "course", 1.0), ("stay", "baseline", 2.0), ("stay", "retested", 3.0), ("stay", "window12", 4.0))


def missing(look: Look) -> SectionView:
    """Who is not in the figures on pressure: the steps of the flow, and the baselines of those with and without."""
    cells = []
    for statistic, step, at in FLOW:
        found = [look.one("counted", statistic, f"pressure={p};step={step}", at) for p in PRESSURES]
        if any(r is not None for r in found):
            cells.append([look.texts.name("step", step), *(people(r) for r in found)])
    for label in ("yes", "no"):
        found = [look.one("missing_outcome", "baseline_cmh2o", f"pressure={p};outcome={label}") for p in PRESSURES]
        if any(r is not None for r in found):
            cells.append([look.say(f"for_funder.missing.outcome_{label}"), *(with_range(r) for r in found)])
    heads = [look.say("for_funder.missing.step"), *(look.texts.name("pressure", p) for p in PRESSURES)]
    shown = facts(look, "t-missing", look.say("for_funder.missing.caption"), heads, cells)
    return view(shown or empty(look), _logged(look))


def _logged(look: Look) -> Block | None:
    logged = look.one("dose", "logged_pct", THIS)
    if logged is None or logged.value is None:
        return None
    return said(look.say("for_funder.missing.logged", logged=value(logged, places=0), n=number(logged.n))
                if logged.n is not None else "", tone="note")
