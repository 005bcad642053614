"""The index page, and the gate that index and protocols share: what the pages rest on and what they can answer."""

from __future__ import annotations

from pipeline.report.look import Look, pair, part
from pipeline.report.tables import Column, table
from pipeline.report.views import Block, Page, PageCard, PageCards, SectionView, said, view
from pipeline.report.words import day_name, people, quarter_name, sentence, value, with_unit

QUESTIONS = ("gain", "protocol", "dose", "effort")
DETECTABLE = ("detectable_gain_cmh2o", "detectable_protocol_difference_cmh2o", "detectable_dose_per_10_points_cmh2o",
              "detectable_between_per_10_points_cmh2o", "detectable_within_per_10_points_cmh2o",
              "detectable_effort_per_10_points_cmh2o")
LISTED: dict[str, tuple[Page, ...]] = {
    "internal": ("quarter", "protocols", "stalled", "sites", "fix_list"),
    "shared": ("quarter", "protocols", "for_manager", "for_funder", "for_referrer")}


def pages(look: Look) -> SectionView:
    """One card a page of this edition."""
    cards = tuple(PageCard(f"{n}.html", look.say(f"index.pages.{n}"), look.say(f"index.pages.{n}_for"))
                  for n in LISTED[look.meta.edition])
    return view(PageCards(cards), said(look.say(f"index.pages.{look.meta.edition}_files"), tone="note"))


def data(look: Look) -> SectionView:
    """Days, people, courses, tests and logs."""
    rows = []
    for statistic in ("data_from_on", "data_until_on", "quarter"):
        r = look.one("data", statistic)
        if r is not None:
            of_edition = "_shared" if look.meta.edition == "shared" and statistic != "quarter" else ""
            rows.append([look.say(f"index.data.{statistic}{of_edition}"), quarter_name(day_name(r.text))])
    for statistic in ("people", "courses", "test_days", "weeks_logged"):
        r = look.one("data", statistic)
        if r is not None:
            rows.append([look.say(f"index.data.{statistic}"), people(r)])
    heads = [Column(look.say("index.data.what")), Column(look.say("index.data.how_many"))]
    return view(table("t-data", look.say("index.data.caption"), heads, rows) if rows else None)


def answers(look: Look) -> SectionView:
    """What this cohort can answer, asked before any result is read."""
    rows, groups = [], []
    for r in look.many("can_answer", "answer"):
        rows.append([look.say(f"protocols.answers.{part(r, 'question')}"), sentence(r.text),
                     sentence(r.note) if r.note else look.say("protocols.answers.enough"),
                     value(r, "none", 0) if r.value is not None else "none"])
        groups.append(look.texts.name("pressure", part(r, "pressure")))
    heads = [Column(look.say("protocols.answers.question_head")), Column(look.say("protocols.answers.answer"), False),
             Column(look.say("protocols.answers.why"), False), Column(look.say("protocols.answers.more"))]
    return view(said(look.say("protocols.answers.lead")),
                table("t-answers", look.say("protocols.answers.caption"), heads, rows, groups) if rows else None,
                _detectable(look))


def _detectable(look: Look) -> Block | None:
    rows, groups = [], []
    for pressure in ("mip", "mep"):
        for statistic in DETECTABLE:
            for r in look.many("can_answer", statistic, pressure=pressure):
                which = f", {pair(r)}" if part(r, "protocols") else ""
                rows.append([look.say(f"protocols.answers.{statistic}") + which, with_unit(r)])
                groups.append(look.texts.name("pressure", pressure))
    heads = [Column(look.say("protocols.answers.what")), Column(look.say("protocols.answers.size"))]
    return table("t-detectable", look.say("protocols.answers.detectable"), heads, rows, groups) if rows else None
