"""Quarter page: change over quarters with stated rules, the clinic's own notes, and what earlier decisions led to."""

from __future__ import annotations

from pipeline.report.chart_style import Rule, Words
from pipeline.report.look import Look, part
from pipeline.report.quarter_lines import Point, quarters
from pipeline.report.tables import Column, table
from pipeline.report.views import Block, Figure, Fold, SectionView, said, view
from pipeline.report.words import day_name, interval, people, quarter_name, tell, value, with_unit
from pipeline.results import Result

SERIES = (("median_gain12_cmh2o", "pressure=mip"), ("median_gain12_cmh2o", "pressure=mep"),
          ("median_session_adherence_pct", "all"), ("median_in_band_pct", "all"))
HOLLOW = "fewer than 11 people"


def over_time(look: Look) -> SectionView:
    """One chart a measure; signals by fixed rules only, with the share of stable series that would show one."""
    charts = [_series(look, s, g) for s, g in SERIES]
    notes = said(*_notes(look), tone="list") if any(charts) else None
    return view(said(look.say("quarter.over_time.lead")), *charts, notes)


def _notes(look: Look) -> list[str]:
    return [look.say("quarter.over_time.note", mark=part(r, "mark"), day=day_name(part(r, "on")), words=r.text,
                     sites=look.say("quarter.over_time.at", sites=r.note) if r.note else "")
            for r in look.many("decisions", "note")]


def _about(statistic: str, group: str) -> str:
    return f"measure={statistic}" if group == "all" else f"measure={statistic};{group}"


def _marks(look: Look) -> dict[str, str]:
    """Quarter to the letters of its notes."""
    found: dict[str, list[str]] = {}
    for row in look.many("decisions", "note"):
        found.setdefault(part(row, "quarter"), []).append(part(row, "mark"))
    return {quarter: " ".join(letters) for quarter, letters in found.items()}


def _quarter_of(row: Result) -> str:
    """The quarter stands at the head of the row's text; words about a missing value may follow."""
    return row.text.split(" ")[0].rstrip(":;,")


def _known(row: Result) -> str:
    """The figure of a quarter, or why there is none: what stands behind the quarter in the row's text."""
    return with_unit(row) if row.value is not None else tell(row.text.partition(" ")[2] or "no figure")


def _series(look: Look, statistic: str, group: str) -> Block | None:
    found = [r for r in look.many("over_time", statistic) if r.group == group and r.at is not None]
    if len([r for r in found if r.value is not None]) < 2:
        return None
    about, marks = _about(statistic, group), _marks(look)
    kind = look.one("over_time", "chart_kind", about)
    code = kind.text if kind is not None else "none"
    signals = [r for r in look.many("over_time", "signal") if f"{r.group};".startswith(f"{about};")]
    ringed = {r.at for r in signals}
    name = look.say(f"measures.{statistic}") + ("" if group == "all" else f", {look.texts.name('pressure', group[9:])}")
    claim = _verdict(look, name, about, code, signals, {r.at: quarter_name(_quarter_of(r)) for r in found})
    stem = f"time-{statistic.replace('_', '-')}-{group[-3:]}"
    points = [Point(quarter_name(_quarter_of(r)), r.value,
                    f"{quarter_name(_quarter_of(r))}: {_known(r)}, n {people(r)}", HOLLOW in r.note, r.at in ringed,
                    marks.get(_quarter_of(r), "")) for r in found]
    drawing = quarters(Words(stem, claim, name), points, unit=f"{name}, {found[0].unit or '%'}",
                       rules=_levels(look, about), is_joined=code != "none")
    rows = [[quarter_name(_quarter_of(r)), _known(r), interval(r) if r.value is not None else "no figure", people(r)]
            for r in found]
    heads = [Column(look.say("words.quarter")), Column(name), Column(look.say("quarter.over_time.quartiles")),
             Column(look.say("words.people"))]
    reading = look.say(f"quarter.over_time.reading_{code.replace(' ', '_')}")
    if any(p.is_hollow for p in points):
        reading = f"{reading} {look.say('quarter.over_time.hollow')}"
    return Figure(f"fig-{stem}", claim, look.say("quarter.over_time.measure", measure=name), reading, drawing,
                  table(f"t-{stem}", name, heads, rows).html, _beneath(look, about))


def _verdict(look: Look, name: str, about: str, code: str, signals: list[Result],
             names: dict[float | None, str]) -> str:
    if code == "none":
        return look.say("quarter.over_time.too_few", measure=name)
    run = look.one("over_time", "run_chart", about)
    if signals:
        first = signals[0]
        return look.say("quarter.over_time.signal", measure=name, rule=f"{tell(first.text)} {tell(first.note)}".strip(),
                        quarter=names.get(first.at, "the last quarter"))
    if run and run.text == "signal":
        return look.say("quarter.over_time.run_signal", measure=name)
    return look.say("quarter.over_time.quiet", measure=name)


def _levels(look: Look, about: str) -> list[Rule]:
    """Centre and limits of an XmR chart; on the others the median of all quarters alone."""
    middle = look.one("over_time", "median_of_quarters", about)
    if middle is not None and middle.value is not None:
        return [Rule(middle.value, look.say("quarter.over_time.median"), True)]
    limits = look.one("over_time", "limits", about)
    if limits is None or limits.value is None:
        return []
    rules = [Rule(limits.value, look.say("quarter.over_time.centre"), True)]
    for end, word in ((limits.high, "upper"), (limits.low, "lower")):
        if end is not None:
            rules.append(Rule(end, look.say(f"quarter.over_time.{word}")))
    return rules


def _beneath(look: Look, about: str) -> str:
    """False signals for this number of points, the run rules' figures, and the aim as a sentence of its own."""
    share = look.one("over_time", "false_signal_pct", about)
    run, crossings = (look.one("over_time", s, about) for s in ("longest_run", "crossings"))
    aim, reached = (look.one("over_time", s, about) for s in ("aim_cmh2o", "aim_reached"))
    pieces = []
    if share and share.value is not None:
        pieces.append(look.say("quarter.over_time.false", share=with_unit(share), n=people(share)))
    if run and crossings and run.value is not None:
        pieces.append(look.say("quarter.over_time.runs", run=value(run, places=0), longest=_bound(run.high),
                               crossings=value(crossings, places=0), fewest=_bound(crossings.low)))
    if aim and reached and reached.value is not None:
        pieces.append(look.say("quarter.over_time.aim", aim=with_unit(aim), n=value(reached, places=0),
                               of=people(reached)))
    return " ".join(pieces)


def _bound(limit: float | None) -> str:
    return "no figure" if limit is None else f"{limit:.0f}"


def decisions(look: Look) -> SectionView:
    """The decisions of the last review, each with its measure then and now; those before it folded."""
    found = look.many("decisions", "decided")
    if not found:
        return view(said(*(() if look.section("decisions") else (look.say("quarter.decisions.not_here"),)),
                         tone="empty"))
    last = max((part(r, "of_quarter") for r in found), default="")
    old = [r for r in found if part(r, "of_quarter") < last]
    more = look.say("quarter.decisions.older")
    return view(said(look.say("quarter.decisions.lead")), _decided(look, [r for r in found if r not in old], "last"),
                Fold(more, (_decided(look, old, "older"),)) if old else None)


def _decided(look: Look, found: list[Result], name: str) -> Block:
    rows = []
    for row in found:
        then, now = (next(iter(look.many("decisions", s, mark=part(row, "mark"))), None)
                     for s in ("measure_then", "measure_now"))
        followed = look.one("decisions", "followed", row.group)
        where = look.say("quarter.over_time.at", sites=row.note) if row.note else ""
        rows.append([f"{row.text}{where}", followed.text if followed else "not noted", _named(look, then), _seen(then),
                     _seen(now)])
    quarter = quarter_name(part(found[0], "of_quarter")) if name == "last" else look.say("quarter.decisions.before")
    heads = [Column(look.say(f"quarter.decisions.{h}"), h in ("then", "now"))
             for h in ("decided", "followed", "measure", "then", "now")]
    return table(f"t-decisions-{name}", look.say("quarter.decisions.caption", quarter=quarter), heads, rows)


def _named(look: Look, then: Result | None) -> str:
    none = look.say("quarter.decisions.no_measure")
    return none if then is None else look.texts.name("followed", part(then, "measure"))


def _seen(row: Result | None) -> str:
    """A value with its quartiles or interval, and its n."""
    if row is None or row.value is None:
        return "no figure" if row is None else with_unit(row)
    return f"{with_unit(row)} ({interval(row)}), n {people(row)}"
