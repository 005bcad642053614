"""Protocols page: what the people not retested would have to have lost, or unlogged training held, to tip it."""

from __future__ import annotations

from pipeline.report import charts
from pipeline.report.chart_style import Rule, Spot, Words
from pipeline.report.look import Look, pair, part
from pipeline.report.sections_protocols import PRESSURES
from pipeline.report.tables import Column, table
from pipeline.report.views import Block, Figure, SectionView, said, view
from pipeline.report.words import estimate, interval, number, of, value, with_unit
from pipeline.results import Result

WHO = ("both", "better")
HOW = ("everybody", "less")


def tipping(look: Look) -> SectionView:
    """Who is not retested, what they would have to have lost, and how much unlogged training would have to be real."""
    blocks: list[Block | None] = [said(look.say("protocols.tipping.lead")), _not_retested(look)]
    for pressure in PRESSURES:
        blocks += [_losses(look, pressure), *_pictures(look, pressure), _shares(look, pressure), _dose(look, pressure)]
    return view(*blocks)


def _not_retested(look: Look) -> Block | None:
    rows = []
    for r in look.many("tipping", "not_retested"):
        weeks = look.one("tipping", "missing_weeks", r.group)
        rows.append([f"{look.texts.name('pressure', part(r, 'pressure'))}, {part(r, 'protocol')}", of(r),
                     value(weeks, "nobody", places=1)])
    heads = [Column(look.say(f"protocols.tipping.{h}")) for h in ("protocol", "not_retested", "missing")]
    return table("t-not-retested", look.say("protocols.tipping.who"), heads, rows) if rows else None


def _losses(look: Look, pressure: str) -> Block | None:
    """One row a pair and scenario: the loss that brings the difference, and its interval, to 0."""
    rows = []
    seen = dict.fromkeys(r.group.rpartition(";to=")[0] for r in look.many("tipping", "tipping_loss_cmh2o",
                                                                           pressure=pressure))
    for group in seen:
        cells = []
        for to in ("nothing", "doubt"):
            loss, slope = (look.one("tipping", s, f"{group};to={to}", 12)
                           for s in ("tipping_loss_cmh2o", "tipping_slope_cmh2o"))
            cells += [value(loss, places=1), value(slope, "none", places=1)]
        one = look.one("tipping", "tipping_loss_cmh2o", f"{group};to=nothing", 12)
        if one is not None:
            rows.append([f"{pair(one)}: {look.say('protocols.tipping.' + part(one, 'who'))}", *cells])
    heads = [Column(look.say(f"protocols.tipping.{h}"))
             for h in ("pair", "to_nothing", "slope_nothing", "to_doubt", "slope_doubt")]
    caption = look.say("protocols.tipping.caption", pressure=look.texts.name("pressure", pressure))
    return table(f"t-losses-{pressure}", caption, heads, rows) if rows else None


def _pictures(look: Look, pressure: str) -> list[Block | None]:
    """A picture for each pair whose interval leaves 0 out: there is something to tip."""
    rows = look.many("tipping", "difference_if_lost_cmh2o", pressure=pressure)
    made: list[Block | None] = []
    for place, protocols in enumerate(dict.fromkeys(part(r, "protocols") for r in rows), 1):
        found = [r for r in rows if part(r, "protocols") == protocols and r.value is not None]
        first = next((r for r in found if r.at == 0), None)
        if first is None or first.low is None or first.high is None or first.low <= 0 <= first.high:
            continue
        made.append(_picture(look, pressure, place, found))
    return made


def _picture(look: Look, pressure: str, place: int, found: list[Result]) -> Block:
    name, slug = look.texts.name("pressure", pressure), f"{pressure}-{place}"
    loss = look.one("tipping", "tipping_loss_cmh2o",
                    f"pressure={pressure};protocols={part(found[0], 'protocols')};who=better;to=doubt", 12)
    kind = "claim" if loss is not None and loss.value is not None else "claim_never"
    claim = look.say(f"protocols.tipping.{kind}", pressure=name, pair=pair(found[0]), loss=with_unit(loss))
    measure = look.say("protocols.tipping.measure", pressure=name, pair=pair(found[0]))
    spots = [Spot(r.at or 0, r.value, r.low, r.high, f"{number(r.at or 0, 1)}: {estimate(r)}",
                  look.say(f"protocols.tipping.{part(r, 'who')}_short"))
             for who in WHO for r in found if part(r, "who") == who]
    drawing = charts.curve(Words(f"tipping-{slug}", claim, measure), spots, unit=look.say("protocols.tipping.unit"),
                           x_title=look.say("protocols.tipping.axis"), rules=[Rule(0, "", True)])
    rows = [[look.say(f"protocols.tipping.{part(r, 'who')}"), number(r.at or 0, 1), with_unit(r), interval(r)]
            for r in found]
    heads = [Column(look.say(f"protocols.tipping.{h}")) for h in ("scenario", "loss", "difference", "ci")]
    return Figure(f"fig-tipping-{slug}", claim, measure, look.say("protocols.tipping.reading"), drawing,
                  table(f"t-tipping-{slug}", measure, heads, rows).html)


def _shares(look: Look, pressure: str) -> Block | None:
    rows = []
    for how in HOW:
        cells = [look.one("tipping", "tipping_unlogged_pct", f"pressure={pressure};who={how};to={to}")
                 for to in ("nothing", "doubt")]
        if any(cells):
            rows.append([look.say(f"protocols.tipping.{how}"), *(with_unit(c) for c in cells)])
    heads = [Column(look.say(f"protocols.tipping.{h}")) for h in ("scenario", "share_nothing", "share_doubt")]
    caption = look.say("protocols.tipping.dose_caption", pressure=look.texts.name("pressure", pressure))
    return table(f"t-tipping-dose-{pressure}", caption, heads, rows) if rows else None


def _dose(look: Look, pressure: str) -> Block | None:
    found = [r for r in look.many("tipping", "dose_if_unlogged_share_cmh2o", pressure=pressure) if r.value is not None]
    if len(found) < 2:
        return None
    name = look.texts.name("pressure", pressure)
    ends = [next((r for r in found if part(r, "who") == how and r.at == 100), None) for how in HOW]
    claim = look.say("protocols.tipping.dose_claim", pressure=name, everybody=with_unit(ends[0]),
                     less=with_unit(ends[1]))
    measure = look.say("protocols.tipping.dose_measure", pressure=name)
    spots = [Spot(r.at or 0, r.value, r.low, r.high, f"{number(r.at or 0)} %: {estimate(r)}",
                  look.say(f"protocols.tipping.{part(r, 'who')}_short"))
             for how in HOW for r in found if part(r, "who") == how]
    drawing = charts.curve(Words(f"tipping-dose-{pressure}", claim, measure), spots,
                           unit=look.say("protocols.tipping.dose_unit"),
                           x_title=look.say("protocols.tipping.dose_axis"), rules=[Rule(0, "", True)])
    rows = [[look.say(f"protocols.tipping.{part(r, 'who')}"), number(r.at or 0), with_unit(r), interval(r)]
            for r in found]
    heads = [Column(look.say(f"protocols.tipping.{h}")) for h in ("scenario", "share", "dose", "ci")]
    return Figure(f"fig-tipping-dose-{pressure}", claim, measure, look.say("protocols.tipping.reading"), drawing,
                  table(f"t-tipping-dose-numbers-{pressure}", measure, heads, rows).html,
                  look.say("protocols.tipping.dose_caution"))
