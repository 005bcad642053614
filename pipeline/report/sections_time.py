"""Quarter page, last part: change over quarters, sites, what could be wrong, how it was made."""

from __future__ import annotations

from pipeline.report.look import Look, part
from pipeline.report.tables import Column, table
from pipeline.report.views import Fold, SectionView, said, view
from pipeline.report.words import (
    as_given,
    count,
    of,
    quarter_days,
    sentence,
)
from pipeline.results import Result

SHOWN_CAUTIONS = 5


def cautions(look: Look) -> SectionView:
    """Cautions made by rule, in the order of how far they could change the reading."""
    found = sorted(look.many("cautions", "caution"), key=lambda r: (r.at or 0, r.group))
    heads = [Column(look.say("quarter.cautions.what"), False), Column(look.say("quarter.cautions.how_many")),
             Column(look.say("quarter.cautions.note"), False)]
    rows = [[r.text, _concerned(r), r.note or "no direction known"] for r in found]
    shown = table("t-cautions", look.say("quarter.cautions.caption"), heads, rows[:SHOWN_CAUTIONS]) if rows else None
    rest = table("t-cautions-more", look.say("quarter.cautions.more"), heads, rows[SHOWN_CAUTIONS:]) \
        if len(rows) > SHOWN_CAUTIONS else None
    checked = look.one("cautions", "checked")
    return view(said(look.say("quarter.cautions.lead") if rows else look.say("quarter.cautions.none")), shown,
                said(sentence(checked.text), tone="note") if checked else None,
                Fold(look.say("quarter.cautions.more"), (rest,)) if rest else None)


def _concerned(result: Result) -> str:
    if result.value is not None:
        return of(result)
    return count(result.hits if result.hits is not None else result.n, "everybody")


def _setting(result: Result) -> str:
    """A setting as it was given: 1.26 is not rounded."""
    return result.text or ("none" if result.value is None else as_given(result.value))


def made(look: Look) -> SectionView:
    """Settings, model formulas, and where the numbers can be taken away."""
    formulas = [r for r in look.many("made", "formula") if r.text]
    rows = [[part(r, "name").replace("_", " "), _setting(r), r.unit or "no unit", r.method or "as named",
             r.note or "not stated"] for r in look.many("made", "setting")]
    heads = [Column(look.say(f"quarter.made.{h}"), h == "value")
             for h in ("setting", "value", "unit", "meaning", "source")]
    listed = table("t-settings-used", look.say("quarter.made.caption"), heads, rows) if rows else None
    return view(said(look.say("quarter.made.lead", days=quarter_days(look.meta.quarter))),
                said(*(look.say("quarter.made.formula", pressure=look.texts.name("pressure", part(r, "pressure")),
                                formula=r.text) for r in formulas), tone="list"),
                Fold(look.say("quarter.made.settings"), (listed,)) if listed else None)

