"""Quarter page, first part: who was there, who is counted, whether the records can be trusted."""

from __future__ import annotations

from pipeline.report import charts
from pipeline.report.chart_style import Rung, Words
from pipeline.report.look import Look, part
from pipeline.report.sections_fix_list import link
from pipeline.report.sections_small import together_of
from pipeline.report.tables import Column, indented, table, with_bar
from pipeline.report.views import Block, Figure, Fold, Group, Heading, SectionView, Table, said, side, view
from pipeline.report.words import behind, is_hidden, of, people
from pipeline.results import Result

DIMENSIONS = {"first": ("standing", "site", "protocol", "device_class", "sex"),
              "second": ("condition_group", "age_band", "mip_predicted_band")}
PERIODS = ("this", "last", "last4")


def who(look: Look) -> SectionView:
    """People of the quarter by what they are, beside the quarter before and the last four."""
    this, last = (look.one("who", "people", f"period={p}") for p in PERIODS[:2])
    hidden = [look.texts.name("dimension", kind) for kinds in DIMENSIONS.values() for kind in kinds
              if _all_hidden(look, kind)]
    lead = look.say("quarter.open.people_hidden") if is_hidden(this) else \
        look.say("quarter.who.lead", n=people(this), last=people(last))
    return view(said(lead),
                said(look.say("quarter.who.hidden", groups=", ".join(hidden)) if hidden else "", tone="note"),
                side(_who_table(look, "first", this), _who_table(look, "second", this)))


def _all_hidden(look: Look, kind: str) -> bool:
    """Tell whether nothing of a split is left to show: then a sentence says so, and no table of the word hidden."""
    rows = [r for r in look.many("who", "people") if part(r, kind)]
    return bool(rows) and all(is_hidden(r) or r.n == 0 for r in rows)


def _who_table(look: Look, place: str, this: Result | None) -> Table | None:
    rows, groups = [], []
    if place == "first":
        totals = [look.one("who", "people", f"period={p}") for p in PERIODS]
        rows, groups = [[look.say("quarter.who.people"), *map(people, totals)]], [look.say("quarter.who.all")]
    for kind in DIMENSIONS[place]:
        if _all_hidden(look, kind):
            continue
        levels = [r for r in look.many("who", "people") if part(r, kind)]
        for level in dict.fromkeys(part(r, kind) for r in levels):
            found = {part(r, "period"): r for r in levels if part(r, kind) == level}
            absent = "not put together" if any(map(together_of, found.values())) else "0"
            cells = [people(found.get(p), absent) for p in PERIODS]
            cells[0] = with_bar(cells[0], _share(found.get("this"), this))
            rows.append([look.texts.name(kind, level), *cells])
            groups.append(look.texts.name("dimension", kind))
    columns = [Column(look.say("quarter.who.stub")), *(Column(look.say(f"quarter.period.{p}")) for p in PERIODS)]
    return table(f"t-who-{place}", look.say(f"quarter.who.{place}"), columns, rows, groups) if rows else None


def _share(part_row: Result | None, whole: Result | None) -> float | None:
    if part_row is None or whole is None or part_row.n is None or not whole.n:
        return None
    return part_row.n / whole.n


def counted(look: Look) -> SectionView:
    """From courses to modelled courses, with those who leave at each step, for each pressure."""
    blocks: list[Block] = []
    for pressure in ("mip", "mep"):
        rows = flow_rows(look, look.many("counted", "stay", pressure=pressure),
                         look.many("counted", "leave", pressure=pressure))
        if rows:
            name = look.texts.name("pressure", pressure)
            blocks.append(table(f"t-flow-{pressure}", look.say("quarter.counted.caption", pressure=name),
                                [Column(look.say("quarter.counted.stub")), Column(look.say("words.people"))], rows))
    return view(said(look.say("quarter.counted.lead")), side(*blocks))


def flow_order(stays: list[Result], leaves: list[Result]) -> list[tuple[str, str, list[Result]]]:
    """Order a flow: each step after those who leave before it, as (kind, name, rows of that step or reason)."""
    order: list[tuple[str, str, list[Result]]] = []
    for at in sorted({r.at for r in stays if r.at is not None}):
        for reason in dict.fromkeys(part(r, "reason") for r in leaves if r.at == at):
            order.append(("leave", reason, [r for r in leaves if r.at == at and part(r, "reason") == reason]))
        here = [r for r in stays if r.at == at]
        order.append(("stay", part(here[0], "step"), here))
    return order


def leaving(shown: str) -> str:
    """A number of people who leave, with its minus; a word stays a word."""
    return f"− {shown}" if shown[:1].isdigit() else shown


def flow_rows(look: Look, stays: list[Result], leaves: list[Result]) -> list[list[str]]:
    """Steps with, set in above each, the people who leave before it and why."""
    return [[indented(look.texts.name("reason", name), 1), leaving(people(found[0]))] if kind == "leave"
            else [look.texts.name("step", name), people(found[0])] for kind, name, found in flow_order(stays, leaves)]


def records(look: Look) -> SectionView:
    """Completeness by item; files; rows set aside; open queries."""
    now = [r for r in look.many("records", "filled", period="this") if part(r, "item") and not part(r, "site")]
    before = {part(r, "item"): r for r in look.many("records", "filled", period="last")}
    blocks: list[Block | None] = [_set_aside_sentence(look), _filled(look, now, before)]
    return view(*blocks, _by_site(look, now), Heading(look.say("quarter.records.files_head")),
                side(_files(look), _queries(look)), _rules(look))


def _set_aside_sentence(look: Look) -> Block | None:
    return said(look.say("quarter.records.lead", queries=people(look.one("records", "queries"), "no")))


def _filled(look: Look, now: list[Result], before: dict[str, Result]) -> Block | None:
    if not now:
        return None
    names = {part(r, "item"): look.texts.name("item", part(r, "item")) for r in now}
    rungs = [Rung(names[part(r, "item")], r.value, text=of(r), is_main=False,
                  before=before[part(r, "item")].value if part(r, "item") in before else None) for r in now]
    known = [r for r in now if r.value is not None]
    least = min(known, key=lambda r: (r.value or 0.0, r.group), default=None)
    kind = "claim_shown" if len(known) < len(now) else "claim"
    claim = look.say(f"quarter.records.{kind}", item=names[part(least, "item")], share=of(least)) if least else \
        look.say("quarter.records.claim_none")
    rows = [[names[part(r, "item")], of(r), of(before.get(part(r, "item")), "no figure")] for r in now]
    numbers = table("t-filled", look.say("quarter.records.caption"),
                    [Column(look.say("words.item")), Column(look.say("quarter.period.this")),
                     Column(look.say("quarter.period.last"))], rows)
    measure = look.say("quarter.records.measure")
    drawing = charts.ladder(Words("filled", claim, measure), rungs, x_title=look.say("quarter.records.axis"),
                            also=(0.0, 100.0))
    return Figure("fig-filled", claim, measure, look.say("quarter.records.reading"), drawing, numbers.html,
                  look.say("quarter.records.caution"))


def _files(look: Look) -> Block | None:
    kept = look.many("records", "rows_read")
    if not kept:
        return None
    rows = [[part(r, "file"), *(people(look.one("records", s, r.group), "0")
                                for s in ("rows_read", "rows_kept", "rows_set_aside", "rows_unchanged"))] for r in kept]
    heads = [Column(look.say(f"quarter.records.{h}")) for h in ("file", "read", "kept", "aside", "unchanged")]
    return table("t-files", look.say("quarter.records.files"), heads, rows)


def _by_site(look: Look, now: list[Result]) -> Block | None:
    found = [r for r in look.many("records", "filled", period="this") if part(r, "site")]
    if not found:
        return None
    sites = sorted({part(r, "site") for r in found})
    cells = {(part(r, "item"), part(r, "site")): of(r) for r in found}
    rows = [[look.texts.name("item", part(r, "item")),
             *(cells.get((part(r, "item"), s), "nothing expected") for s in sites)] for r in now]
    grid = table("t-filled-site", look.say("quarter.records.by_site"),
                 [Column(look.say("words.item")), *(Column(s) for s in sites)], rows)
    return Fold(look.say("quarter.records.by_site"), (grid,))


def _rules(look: Look) -> Block | None:
    found = look.many("records", "set_aside")
    if not found:
        return None
    rows = [[part(r, "rule"), people(r), behind(r)] for r in found]
    listed = table("t-rules", look.say("quarter.records.rules"),
                   [Column(look.say("quarter.records.rule")), Column(look.say("words.rows")),
                    Column(look.say("words.people"))], rows)
    return Fold(look.say("quarter.records.rules"), (listed,))


def _queries(look: Look) -> Block | None:
    found = [r for r in look.many("records", "queries") if part(r, "cause")]
    if not found:
        return None
    rows = [[look.texts.name("cause", part(r, "cause")), people(r), behind(r)] for r in found]
    listed = table("t-queries", look.say("quarter.records.queries"),
                   [Column(look.say("quarter.records.cause")), Column(look.say("quarter.records.asked")),
                    Column(look.say("words.people"))], rows)
    return Group((listed, *filter(None, [link(look)])))
