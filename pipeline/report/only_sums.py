"""Pages of results that were computed from sums alone: the sections that have rows, and one sentence on the rest."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

from pipeline.report import openings, sections_index, sections_model, sections_pressure, sections_small
from pipeline.report.look import Look
from pipeline.report.sections_plan import registrations
from pipeline.report.views import Opening, Page, PageCard, PageCards, Section, SectionView, said, view
from pipeline.report.words import estimate, people

REPORTS = ("common", "quarter", "protocols")
"""The reports whose results the pages read."""


def pages(look: Look) -> SectionView:
    """The one page beside the index."""
    card = PageCard("protocols.html", look.say("index.pages.protocols"), look.say("sums.pages.protocols_for"))
    return view(PageCards((card,)), said(look.say("sums.pages.files"), tone="note"))


SECTIONS: Mapping[Page, tuple[Section, ...]] = {
    "index": (Section("index", "pages", pages, needs_rows=False), Section("index", "data", sections_index.data)),
    "protocols": (
        Section("protocols", "answers", sections_index.answers, needs_rows=False),
        Section("quarter", "gains", sections_pressure.gains),
        Section("protocols", "difference", sections_model.difference),
        Section("protocols", "dose_response", sections_model.dose_response),
        Section("protocols", "fitted", sections_model.fitted),
        Section("protocols", "small_groups", partial(sections_small.small_groups, page="protocols"), needs_rows=False),
    ),
}
#: Sections that read the rows of another section, or that stand without any.
ROWS_OF = {"answers": "can_answer", "pages": "", "small_groups": ""}


def filled(name: Page, look: Look) -> list[Section]:
    """The sections of a page that have rows; what has none is named once, in the opening."""
    def has_rows(section: Section) -> bool:
        rows = ROWS_OF.get(section.id, section.id)
        return not rows or bool(look.section(rows))

    return [s for s in SECTIONS[name] if has_rows(s)]


def opening(name: Page, look: Look) -> Opening:
    """The gains, then what the page of protocols opens with, and last that there are sums alone."""
    made = openings.protocols(look)
    lines = (*(_gain(look, p) for p in sections_pressure.PRESSURES), *made.sentences, _taken(look), _plan(look),
             look.say("sums.open.only"))
    return Opening(tuple(s for s in lines if s), made.figures if name == "protocols" else ())


def _gain(look: Look, pressure: str) -> str:
    """The 12-week gain by the model, or why it is not given; "" where nothing is told of this pressure."""
    gain, name = look.one("gains", "gain_cmh2o", f"pressure={pressure}", 12), look.texts.name("pressure", pressure)
    if gain is None:
        return ""
    if gain.value is None:
        return look.say("quarter.gains.not_given", pressure=name, why=gain.text or "not estimated")
    return look.say("sums.open.gain", pressure=name, gain=estimate(gain), n=people(gain))


def _taken(look: Look) -> str:
    """That the gains told and the rest are not of the same people, where a plan takes those only who agreed."""
    told = any(r.value is not None for r in look.many("gains", "gain_cmh2o"))
    return look.say("sums.open.taken") if told and look.one("fitted", "taken") else ""


def _plan(look: Look) -> str:
    """Which differences a plan names is not among the results: that is said, for the largest stand above."""
    shown = any(r.value is not None for r in look.many("difference", "difference_cmh2o"))
    return look.say("sums.open.plan") if shown and look.meta.plan_hash and not registrations(look) else ""
