"""The fix list: how many questions are open, and each of them by cause and site, to be settled with the sites."""

from __future__ import annotations

from html import escape
from itertools import groupby

from pipeline.report.look import Look, part
from pipeline.report.tables import Column, table
from pipeline.report.views import Block, Heading, Html, Said, SectionView, said, side, view
from pipeline.report.words import behind, count, day_name, number, people
from pipeline.results import Result

FILE = "fix_list.html"
#: Rows of this many questions fit a page of 1.5 MB with room to spare (about 450 bytes each, measured).
MOST_ROWS = 2000


def how_many(look: Look) -> SectionView:
    """Questions by cause and by site, with the people they are about."""
    found = look.many("how_many", "open")
    causes = [r for r in found if part(r, "cause") and not part(r, "site")]
    sites = [r for r in found if part(r, "site") and not part(r, "cause")]
    if not causes:
        return view(said(look.say("fix_list.nobody"), tone="empty"))
    return view(said(look.say("fix_list.how_many.lead")),
                side(_counts(look, "cause", causes), _counts(look, "site", sites)))


def _counts(look: Look, kind: str, rows: list[Result]) -> Block:
    heads = [Column(look.say(f"fix_list.{kind}")), Column(look.say("fix_list.questions")),
             Column(look.say("words.people"))]
    cells = [[look.texts.name(kind, part(r, kind)), people(r), behind(r)] for r in rows]
    return table(f"t-fix-{kind}", look.say(f"fix_list.by_{kind}"), heads, cells)


def asked(look: Look) -> SectionView:
    """Cause by cause: the question, what was done meanwhile, and the rows that it is about, site by site."""
    rows = look.many("asked", "query")
    if not rows:
        return view(said(look.say("fix_list.nobody"), tone="empty"))
    blocks: list[Block | None] = [said(look.say("fix_list.asked.lead"))]
    for place, (cause, own) in enumerate(groupby(rows[:MOST_ROWS], key=lambda r: part(r, "cause"))):
        blocks += _of_cause(look, place, cause, list(own))
    return view(*blocks, _more(look, rows))


def _of_cause(look: Look, place: int, cause: str, rows: list[Result]) -> list[Block | None]:
    asked_of = look.one("asked", "question", f"cause={cause}")
    said_of = (asked_of.text, asked_of.note) if asked_of else ("", "")
    totals = {part(r, "site"): r for r in look.many("how_many", "open", cause=cause) if part(r, "site")}
    cells = [[part(r, "key"), part(r, "table").replace("_", " "), r.text, count(r.n), day_name(part(r, "on"))]
             for r in rows]
    groups = [look.say("fix_list.asked.site", site=part(r, "site"), n=people(totals.get(part(r, "site")), "no figure"))
              for r in rows]
    heads = [Column(look.say(f"fix_list.asked.{h}"), h == "rows") for h in ("client", "table", "where", "rows", "on")]
    name = look.texts.name("cause", cause)
    return [Heading(name[:1].upper() + name[1:]), said(said_of[0]),
            said(look.say("fix_list.asked.meanwhile", done=said_of[1]) if said_of[1] else "", tone="note"),
            table(f"t-fix-{place}", look.say("fix_list.asked.caption", cause=name), heads, cells, groups)]


def _more(look: Look, rows: list[Result]) -> Block | None:
    """Say what of a very long list is not on the page."""
    if len(rows) <= MOST_ROWS:
        return None
    return said(look.say("fix_list.asked.more", shown=number(rows[MOST_ROWS - 1].at or 0),
                         all=people(look.one("how_many", "open"))), tone="note")


def link(look: Look) -> Said | None:
    """The way from another page of the internal edition to this list."""
    if look.meta.edition != "internal":
        return None
    return Said((Html(f'<a href="{FILE}">{escape(look.say("fix_list.link"))}</a>'),), "note")
