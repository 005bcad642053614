"""What the one-page editions share: the word for the period, tables of facts, splits without what is hidden, harms."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.identity.quarters import is_block
from pipeline.report.look import Look, part
from pipeline.report.tables import Column, table
from pipeline.report.views import Block, Group, KeyFigure, said
from pipeline.report.words import HIDDEN, count, estimate, interval, is_hidden, of, people, reach, with_unit
from pipeline.results import Result

MERGED = "counted with others"
MOST_ROWS = 5
"""Rows of a split that stand in a table: a printed side has room for no more."""
PRESSURES = ("mip", "mep")
THIS, SO_FAR, AT_12 = "period=this", "so_far=yes", 12.0


def period(look: Look, name: str = "this") -> str:
    """ "this quarter", or "this block" where a quarter is a block of each client's own time."""
    return look.say(f"one_page.{'block' if is_block(look.meta.quarter) else 'quarter'}_{name}")


def head(look: Look, name: str = "this") -> str:
    """The same at the head of a column."""
    return period(look, f"{name}_head")


def facts(look: Look, name: str, caption: str, heads: Sequence[str], rows: Sequence[Sequence[str]],
          words: int = 1) -> Block | None:
    """A small table, its first `words` columns words; one sentence where every number is hidden; None without rows.

    Caption and heads come said.
    """
    numbers = [cell for row in rows for cell in row[words:]]
    if numbers and all(cell.startswith(HIDDEN) for cell in numbers):
        return said(look.say("one_page.all_hidden", what=caption), tone="empty")
    columns = [Column(h, place >= words) for place, h in enumerate(heads)]
    return table(name, caption, columns, rows) if rows else None


def empty(look: Look, section: str = "") -> Block | None:
    """The sentence that stands where there is nothing to show: the one of the results' section, else one of ours."""
    states = [r.text for r in look.section(section) if r.statistic == "state" and r.text][:1]
    return said(*(states or [look.say("one_page.nothing")]), tone="empty")


def hits(result: Result | None) -> str:
    """The numerator of a share, or the word that stands for it."""
    return people(result) if result is None or result.hits is None else count(result.hits)


def with_range(result: Result | None, otherwise: str = "not recorded") -> str:
    """A value with its unit and range in brackets: "71 % (57 to 83)"."""
    if result is None or result.value is None or result.low is None:
        return with_unit(result, otherwise)
    return f"{with_unit(result)} ({interval(result)})"


def split(look: Look, found: Sequence[Result], name: str, kind: str = "") -> tuple[list[list[str]], list[str]]:
    """Rows (label, people) of what a split shows, the largest first, and the labels of what is hidden."""
    shown = sorted((r for r in found if r.n), key=lambda r: (-(r.n or 0), r.group))
    gone = [r for r in found if is_hidden(r) and r.text != MERGED]

    def label(row: Result) -> str:
        return look.texts.name(kind or name, part(row, name))

    return [[label(r), people(r)] for r in shown], [label(r) for r in gone]


def split_table(look: Look, name: str, caption: str, found: Sequence[Result], by: str, kind: str = "") -> Block | None:
    """A split as a table of its largest parts, with a sentence for the others and one that names what is hidden; None
    where there is nothing to name."""
    rows, gone = split(look, found, by, kind)
    heads = [look.say(f"one_page.by_{by}"), look.say("words.people")]
    shown = facts(look, name, caption, heads, rows[:MOST_ROWS])
    more = ", ".join(f"{label} {n}" for label, n in rows[MOST_ROWS:])
    rest = said(look.say("one_page.also", groups=more) if more else "",
                look.say("one_page.hidden", groups=", ".join(gone)) if gone else "", tone="note")
    kept = tuple(b for b in (shown, rest) if b is not None)
    return Group(kept) if kept else None


def figure(look: Look, key: str, result: Result | None, shown: str, beneath: str = "") -> KeyFigure | None:
    """A key figure with its label and what stands beneath; None where the number is not there or hidden."""
    if result is None or is_hidden(result) or (result.n is None and result.value is None):
        return None
    return KeyFigure(shown, look.say(key, period=period(look)), beneath)


HARMS = (("events", "with_event"), ("serious", "with_serious"), ("related", "with_related"),
         ("early_stops", "with_early_stop"))


def harms(look: Look) -> list[Block]:
    """Untoward events and sessions stopped early: in the quarter, and people so far."""
    rows = []
    for seen, gathered in HARMS:
        now, so_far = look.one("safety", seen, THIS), look.one("service", gathered, SO_FAR)
        if now is not None or so_far is not None:
            rows.append([look.say(f"one_page.{seen}"), hits(now), of(so_far)])
    heads = [look.say("one_page.what"), head(look), look.say("one_page.people_so_far")]
    listed = facts(look, "t-harms", look.say("one_page.harms"), heads, rows)
    none = said(look.say("one_page.no_harms"), tone="empty") if listed is None else None
    return [b for b in (listed, none) if b is not None]


def gain_line(look: Look, pressure: str = "mip") -> str:
    """The 12-week gain with its interval and n, and the sham range beside it; or why there is none."""
    name, gain = look.texts.name("pressure", pressure), look.one("gains", "gain_cmh2o", f"pressure={pressure}", AT_12)
    if is_hidden(gain):
        return look.say("one_page.gain_hidden", pressure=name)
    if gain is None or gain.value is None:
        return look.say("quarter.gains.not_given", pressure=name, why=(gain.text if gain else "") or "not estimated")
    return look.say("one_page.gain", pressure=name, gain=estimate(gain), n=people(gain), sham=sham(look, pressure))


def sham(look: Look, pressure: str) -> str:
    """The range of the rise in sham arms of trials, every population held."""
    held = look.one("gains", "sham_arm_rise_cmh2o", f"pressure={pressure};condition_group=any")
    if held is None or held.low is None or held.high is None:
        return look.say("one_page.no_sham")
    return f"{reach(held.low, held.high, 1)} cmH2O"
