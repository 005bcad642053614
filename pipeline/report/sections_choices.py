"""Protocols page, last figures: the same questions under other choices."""

from __future__ import annotations

from pipeline.report import charts
from pipeline.report.chart_style import Rule, Rung, Words
from pipeline.report.look import Look, pair, part
from pipeline.report.sections_protocols import PRESSURES, ranged
from pipeline.report.tables import Column, table
from pipeline.report.views import Block, Figure, SectionView, said, view
from pipeline.report.words import interval, number, value
from pipeline.results import Result


def choices(look: Look) -> SectionView:
    """One row an analysis, the primary first, failed ones included."""
    blocks: list[Block | None] = [said(look.say("protocols.choices.lead"))]
    for pressure in PRESSURES:
        for statistic in ("difference_cmh2o", "gain_cmh2o", "dose_per_10_points_cmh2o"):
            rows = look.many("choices", statistic, pressure=pressure)
            for place, which in enumerate(dict.fromkeys(part(r, "protocols") for r in rows), 1):
                blocks.append(_choice_figure(look, pressure, statistic, place,
                                             [r for r in rows if part(r, "protocols") == which]))
    return view(*blocks)


def _choice_figure(look: Look, pressure: str, statistic: str, place: int, found: list[Result]) -> Block | None:
    main = next((r for r in found if r.text == "primary" and r.value is not None), None)
    name = look.texts.name("pressure", pressure)
    what = look.say(f"protocols.choices.{statistic}") + (f", {pair(found[0])}" if part(found[0], "protocols") else "")
    labels = [part(r, "choice") for r in found]
    rungs = [Rung(label, r.value, r.low, r.high, text=ranged(r, r.text or "did not fit"), is_main=r.text == "primary")
             for label, r in zip(labels, found, strict=True)]
    known = [r.value for r in found if r.value is not None]
    if not known:
        return said(look.say("protocols.choices.none", pressure=name, what=what), tone="empty")
    claim = look.say("protocols.choices.claim", pressure=name, what=what,
                     low=number(min(known), 1), high=number(max(known), 1))
    measure = look.say("protocols.choices.measure", pressure=name, what=what)
    reach = (main.low, main.high) if main and main.low is not None and main.high is not None else None
    slug = f"{pressure}-{statistic.split('_')[0]}-{place}"
    drawing = charts.ladder(Words(f"choices-{slug}", claim, measure), rungs,
                            x_title=look.say("protocols.choices.axis"), rules=[Rule(0, "", True)],
                            band=reach)
    rows = [[label, value(r, r.text or "did not fit"), interval(r)] for label, r in zip(labels, found, strict=True)]
    heads = [Column(look.say(f"protocols.choices.{h}")) for h in ("choice", "value", "ci")]
    return Figure(f"fig-choices-{slug}", claim, measure, look.say("protocols.choices.reading"), drawing,
                  table(f"t-choices-{slug}", measure, heads, rows).html)
