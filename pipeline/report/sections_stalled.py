"""The stalled page: how many of how many, whom to look at first and why, and everybody else by state."""

from __future__ import annotations

from pipeline.report.cards import card, state_of, topics, why_of
from pipeline.report.clients import Client, gathered
from pipeline.report.light_tables import light_table
from pipeline.report.look import Look, part
from pipeline.report.panels import scales
from pipeline.report.tables import Column, table
from pipeline.report.views import NOTHING, Block, Fold, Html, SectionView, Worklist, said, side, view
from pipeline.report.words import day_name, interval, people, sentence, value, with_unit

TO_CHECK = ("falling", "stalled")
#: Cards with panels, about 9 KB each; on a list longer than LONG_LIST fewer, so that the page stays under 1.5 MB.
MOST_CARDS, FEW_CARDS, LONG_LIST = 75, 25, 2000


def how_many(look: Look) -> SectionView:
    """Every state with its count, for each pressure; nobody vanishes."""
    counts = {(part(r, "pressure"), part(r, "state")): r for r in look.many("how_many", "people")}
    pressures = [p for p in ("mip", "mep") if (p, "") in counts]
    states = list(dict.fromkeys(state for _, state in counts if state))
    rows = [[look.texts.name("state", s), *(people(counts.get((p, s)), "0") for p in pressures)] for s in states]
    rows.append([look.say("stalled.how_many.all"), *(people(counts[p, ""]) for p in pressures)])
    heads = [Column(look.say("stalled.how_many.state")), *(Column(look.texts.name("pressure", p)) for p in pressures)]
    return view(said(look.say("stalled.how_many.lead")),
                side(table("t-states", look.say("stalled.how_many.caption"), heads, rows) if states else None,
                     _by_learning(look)))


def _by_learning(look: Look) -> Block | None:
    """How many would be stalled if more or less of the gain were learning."""
    found = look.many("how_many", "stalled_people")
    rows = [[look.texts.name("learning", part(r, "learning")), people(r)] for r in found]
    heads = [Column(look.say("stalled.how_many.learning")), Column(look.say("stalled.how_many.stalled"))]
    return table("t-stalled-learning", look.say("stalled.how_many.by_learning"), heads, rows) if rows else None


def whom(look: Look) -> SectionView:
    """The worklist: falling and stalled clients in the order of checking."""
    listed = [c for c in gathered(look) if state_of(c) in TO_CHECK]
    if not listed:
        return view(said(look.say("stalled.whom.nobody"), tone="empty"))
    most = MOST_CARDS if len(listed) <= LONG_LIST else FEW_CARDS
    scale = scales(listed[:most])
    cards = tuple(card(look, c, place, scale) for place, c in enumerate(listed[:most], 1))
    block = Worklist(cards, tuple(sorted({c.text("site") for c in listed})),
                     tuple(sorted({look.texts.name("state", state_of(c)) for c in listed})),
                     tuple(sorted({t for c in listed for t in topics(c)})), _rest(look, listed[most:]))
    return view(said(look.say("stalled.whom.lead")), said(look.say("stalled.whom.reading"), tone="note"), block)


def _rest(look: Look, clients: list[Client]) -> Html:
    """Those on the list who have no card, one row each; the page's script sorts and filters them with the cards."""
    rows = [[c.key, look.texts.name("pressure", c.pressure), c.text("site"), look.texts.name("state", state_of(c)),
             "; ".join(topics(c)) or "none found", value(c.facts.get("slope"), "not estimated"),
             value(c.facts.get("gain"), "not estimated"), with_unit(c.facts.get("adherence")),
             day_name(c.text("next_test_on", "none due"))] for c in clients]
    heads = [Column(look.say(f"stalled.rest.{h}"), h not in ("pressure", "site", "state", "reason"))
             for h in ("key", "pressure", "site", "state", "reason", "slope", "gain", "adherence", "next")]
    return light_table("t-more", look.say("stalled.whom.more"), heads, rows, is_list=True).html if rows else NOTHING


def _short(look: Look, name: str, caption: str, clients: list[Client]) -> Block:
    rows = [[c.key, look.texts.name("pressure", c.pressure), c.text("site"), sentence(why_of(c)),
             with_unit(c.facts.get("slope"), "not estimated"), interval(c.facts.get("slope")),
             with_unit(c.facts.get("gain"), "not estimated"), day_name(c.text("next_test_on", "none due"))]
            for c in clients]
    heads = [Column(look.say(f"stalled.others.{h}"), h not in ("pressure", "site", "why"))
             for h in ("key", "pressure", "site", "why", "slope", "interval", "gain", "next")]
    return light_table(name, caption, heads, rows)


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


def _power(look: Look) -> list[Block | None]:
    """How often the rule flags people of each made kind: stalled by kind and testing, falling by number of looks."""
    return [_pivot(look, "flagged_pct", ("kind", "learning"), "tests", "t-flags", "stalled.rule.flags"),
            _pivot(look, "false_falling_pct", ("tests", "weeks"), "looks", "t-falling", "stalled.rule.falling")]


def _pivot(look: Look, statistic: str, names: tuple[str, str], across: str, table_name: str, key: str) -> Block | None:
    found = look.many("how_many", statistic)
    columns = list(dict.fromkeys(part(r, across) for r in found))
    lines: dict[tuple[str, str], dict[str, str]] = {}
    for r in found:
        line = lines.setdefault((part(r, names[0]), part(r, names[1])), {})
        line[part(r, across)] = with_unit(r)
    rows = [[f"{look.texts.tell(first)}, {look.texts.name(names[1], second)}",
             *(cells.get(c, "no figure") for c in columns)]
            for (first, second), cells in lines.items()]
    heads = [Column(look.say(f"{key}_kind")), *(Column(c) for c in columns)]
    return table(table_name, look.say(key), heads, rows) if rows else None
