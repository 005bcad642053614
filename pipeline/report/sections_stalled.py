"""The stalled page: how many of how many, whom to look at first and why, and everybody else by state."""

from __future__ import annotations

from pipeline.report.cards import card, state_of
from pipeline.report.clients import Client, gathered
from pipeline.report.look import Look, part
from pipeline.report.panels import scales
from pipeline.report.tables import Column, table
from pipeline.report.views import Block, Fold, SectionView, Worklist, said, view
from pipeline.report.words import day_name, interval, people, sentence, with_unit

TO_CHECK = ("falling", "stalled")
#: Panels of this many clients fit a page of 1.5 MB with room to spare (about 9 KB each, measured on the made cohort).
MOST_CARDS = 75


def how_many(look: Look) -> SectionView:
    """Every state with its count; nobody vanishes."""
    rows, groups = [], []
    for r in look.rows:
        if r.klass == "aggregate" and r.statistic == "people" and part(r, "state"):
            rows.append([look.texts.name("state", part(r, "state")), people(r)])
            groups.append(look.texts.name("pressure", part(r, "pressure") or "mip"))
    heads = [Column(look.say("stalled.how_many.state")), Column(look.say("words.people"))]
    return view(said(look.say("stalled.how_many.lead")),
                table("t-states", look.say("stalled.how_many.caption"), heads, rows, groups) if rows else None)


def whom(look: Look) -> SectionView:
    """The worklist: falling and stalled clients in the order of checking."""
    listed = [c for c in gathered(look) if state_of(c) in TO_CHECK]
    if not listed:
        return view(said(look.say("stalled.whom.nobody"), tone="empty"))
    scale = scales(listed[:MOST_CARDS])
    cards = tuple(card(look, c, place, scale) for place, c in enumerate(listed[:MOST_CARDS], 1))
    block = Worklist(cards, tuple(sorted({c.site for c in cards})), tuple(sorted({c.state for c in cards})),
                     tuple(sorted({t for c in cards for t in c.topics})))
    return view(said(look.say("stalled.whom.lead")), said(look.say("stalled.whom.reading"), tone="note"), block,
                _overflow(look, listed[MOST_CARDS:]))


def _overflow(look: Look, rest: list[Client]) -> Block | None:
    return _short(look, "t-more", look.say("stalled.whom.more"), rest) if rest else None


def _short(look: Look, name: str, caption: str, clients: list[Client]) -> Block:
    rows = [[c.key, look.texts.name("pressure", c.pressure), c.text("site"), sentence(c.text("state")),
             with_unit(c.facts.get("slope"), "not estimated"), interval(c.facts.get("slope")),
             with_unit(c.facts.get("gain"), "not estimated"), day_name(c.text("next_test_on", "none due"))]
            for c in clients]
    heads = [Column(look.say(f"stalled.others.{h}"), h not in ("pressure", "site", "state"))
             for h in ("key", "pressure", "site", "state", "slope", "interval", "gain", "next")]
    return table(name, caption, heads, rows)


def others(look: Look) -> SectionView:
    """Everybody who is not on the list, by state, folded."""
    rest = [c for c in gathered(look) if state_of(c) not in TO_CHECK]
    folds: list[Block] = []
    for place, state in enumerate(dict.fromkeys(map(state_of, rest))):
        name = look.texts.name("state", state)
        folds.append(Fold(name, (_short(look, f"t-state-{place}", look.say("stalled.others.caption", state=name),
                                        [c for c in rest if state_of(c) == state]),)))
    return view(said(look.say("stalled.others.lead" if folds else "stalled.others.nobody")), *folds)


def rule(look: Look) -> SectionView:
    """The rule in words, and what it gets wrong."""
    return view(said(*(look.say(f"stalled.rule.{k}") for k in ("gain", "slope", "states", "reasons")), tone="list"),
                *_power(look))


def _power(look: Look) -> list[Block]:
    """How often the rule flags people of each made kind, where analyse gives it."""
    wanted = ("false_flag_pct", "power_pct", "flagged_pct")
    found = [r for r in look.rows if r.klass == "aggregate" and r.statistic in wanted]
    rows = [[look.texts.name("flag", r.statistic), r.group.replace(";", ", ").replace("=", " "), with_unit(r)]
            for r in found]
    heads = [Column(look.say("stalled.rule.what")), Column(look.say("stalled.rule.kind"), False),
             Column(look.say("stalled.rule.share"))]
    return [table("t-flags", look.say("stalled.rule.caption"), heads, rows)] if rows else []
