"""The one-page edition for a manager: who came and ended, diaries and tests, safety, what asks for a decision."""

from __future__ import annotations

from pipeline.report.look import Look, part
from pipeline.report.one_page import (
    MERGED,
    PRESSURES,
    SO_FAR,
    THIS,
    empty,
    facts,
    figure,
    harms,
    head,
    hits,
    period,
    split_table,
)
from pipeline.report.views import Block, Opening, SectionView, said, side, view
from pipeline.report.words import behind, is_hidden, number, of, people
from pipeline.results import Result

ITEMS = ("weekly_log", "12_week_mip", "12_week_mep")
IN_WINDOW, PAST_WINDOW = "in the window, not tested", "past the window, not tested"


def _service(look: Look, statistic: str, where: str = THIS) -> Result | None:
    return look.one("service", statistic, where)


def opening(look: Look) -> Opening:
    """People, courses opened and ended, in sentences; the same and the weekly logs as figures."""
    who, opened, ended = look.one("who", "people", THIS), _service(look, "opened"), _service(look, "ended")
    logs = look.one("records", "filled", "item=weekly_log;period=this")
    if who is None or who.n == 0:
        return Opening((look.say("one_page.nobody", period=period(look)),), ())
    lines = [look.say("one_page.hidden_people") if is_hidden(who)
             else look.say("one_page.people", n=people(who), period=period(look))]
    if opened and ended and not is_hidden(opened) and not is_hidden(ended):
        lines.append(look.say("for_manager.open.flow", opened=people(opened), ended=people(ended)))
    made = (figure(look, "for_manager.open.fig_people", who, people(who), look.say("for_manager.open.people_beneath")),
            figure(look, "for_manager.open.fig_opened", opened, people(opened), _trained(look)),
            figure(look, "for_manager.open.fig_ended", ended, people(ended),
                   look.say("for_manager.open.ended_beneath")),
            figure(look, "for_manager.open.fig_logs", logs, of(logs), look.say("for_manager.open.logs_beneath")))
    return Opening((*lines, look.say("for_manager.open.rules")), tuple(f for f in made if f is not None))


def _trained(look: Look) -> str:
    trained = _service(look, "trained")
    if trained is None or trained.hits is None:
        return look.say("for_manager.open.opened_beneath")
    return look.say("for_manager.open.trained_beneath", n=number(trained.hits))


def flow(look: Look) -> SectionView:
    """Opened, trained, tested again, ended: in the quarter and so far; how courses ended."""
    rows = [
        (_service(look, "opened"), look.one("data", "people"), "opened"),
        (_service(look, "trained"), _service(look, "trained", SO_FAR), "trained"),
        *((_service(look, "retested", f"period=this;pressure={p}"),
           look.one("counted", "stay", f"pressure={p};step=retested"), f"retested_{p}") for p in PRESSURES),
        (_service(look, "ended"), _service(look, "ended", SO_FAR), "ended"),
    ]
    cells = [[look.say(f"for_manager.flow.{name}"), hits(now), hits(so_far)] for now, so_far, name in rows
             if now is not None or so_far is not None]
    heads = [look.say("words.people"), head(look), look.say("one_page.so_far")]
    shown = facts(look, "t-flow", look.say("for_manager.flow.caption"), heads, cells)
    reasons = [r for r in look.many("service", "ended") if part(r, "reason")]
    ended = split_table(look, "t-ended", look.say("for_manager.flow.ended_caption"), reasons, "reason", "end_reason")
    return view(side(shown, ended) or empty(look))


def diaries(look: Look) -> SectionView:
    """Weekly logs and 12-week tests of those expected; where the 12-week test of running courses stands."""
    cells = []
    for item in ITEMS:
        now, last = (look.one("records", "filled", f"item={item};period={p}") for p in ("this", "last"))
        if now is not None or last is not None:
            cells.append([look.texts.name("item", item), of(now, "nothing expected"), of(last, "nothing expected")])
    heads = [look.say("words.item"), head(look), head(look, "last")]
    filled = facts(look, "t-filled", look.say("for_manager.diaries.caption"), heads, cells)
    return view(side(filled, _due(look)) or empty(look))


def _due(look: Look) -> Block | None:
    found = {(part(r, "standing"), part(r, "pressure")): r for r in look.many("service", "due", period="this")
             if part(r, "standing")}
    rows = []
    for standing in dict.fromkeys(s for s, _ in found):
        mine = [found.get((standing, p)) for p in PRESSURES]
        if any(r is not None and r.text != MERGED for r in mine):
            rows.append([look.texts.name("test_standing", standing), *(people(r, "0") for r in mine)])
    heads = [look.say("for_manager.diaries.standing"), *(look.texts.name("pressure", p) for p in PRESSURES)]
    return facts(look, "t-due", look.say("for_manager.diaries.due_caption"), heads, rows)


def harmed(look: Look) -> SectionView:
    """Harms in the quarter and so far."""
    return view(*harms(look))


def asked(look: Look) -> SectionView:
    """Open matters of the records, each as a question that somebody has to settle."""
    lines = [line for line in (*(_overdue(look, s) for s in (PAST_WINDOW, IN_WINDOW)), _logs(look), _queries(look),
                               _earlier(look)) if line]
    return view(said(*lines, tone="list") if lines else said(look.say("for_manager.asked.none"), tone="empty"))


def _overdue(look: Look, standing: str) -> str:
    row = _service(look, "due", f"period=this;pressure=mip;standing={standing}")
    if row is None or row.n == 0:
        return ""
    name = look.texts.name("test_standing", standing)
    if row.n is None:
        return look.say("for_manager.asked.due_hidden", standing=name)
    return look.say("for_manager.asked.due", standing=name, n=people(row))


def _logs(look: Look) -> str:
    logs = look.one("records", "filled", "item=weekly_log;period=this")
    return look.say("for_manager.asked.logs", share=of(logs)) if logs and logs.hits != logs.n else ""


def _queries(look: Look) -> str:
    row = look.one("records", "queries")
    if row is None or row.n == 0:
        return ""
    if row.n is None:
        return look.say("for_manager.asked.queries_hidden")
    return look.say("for_manager.asked.queries", n=people(row), who=behind(row))


def _earlier(look: Look) -> str:
    made, waiting = (_service(look, s, SO_FAR) for s in ("decisions", "decisions_open"))
    if made is None or waiting is None or not waiting.n:
        return ""
    return look.say("for_manager.asked.earlier", n=people(waiting), all=people(made))
