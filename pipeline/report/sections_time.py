"""Quarter page, last part: change over quarters, sites, what could be wrong, how it was made."""

from __future__ import annotations

from pipeline.report import charts
from pipeline.report.chart_style import Rule, Words
from pipeline.report.look import Look, part
from pipeline.report.tables import Column, table
from pipeline.report.views import Block, Figure, Fold, SectionView, said, view
from pipeline.report.words import (
    as_given,
    count,
    interval,
    of,
    people,
    quarter_days,
    quarter_name,
    sentence,
    tell,
    value,
    with_unit,
)
from pipeline.results import Result

SERIES = (("median_gain12_cmh2o", "pressure=mip"), ("median_gain12_cmh2o", "pressure=mep"),
          ("median_session_adherence_pct", "all"), ("median_in_band_pct", "all"))
SHOWN_CAUTIONS = 5


def over_time(look: Look) -> SectionView:
    """One chart a measure; signals by fixed rules only, with the share of stable series that would show one."""
    return view(said(look.say("quarter.over_time.lead")), *(_series(look, s, g) for s, g in SERIES))


def _about(statistic: str, group: str) -> str:
    return f"measure={statistic}" if group == "all" else f"measure={statistic};{group}"


def _series(look: Look, statistic: str, group: str) -> Block | None:
    found = [r for r in look.many("over_time", statistic) if r.group == group and r.at is not None]
    if len([r for r in found if r.value is not None]) < 2:
        return None
    about = _about(statistic, group)
    kind = look.one("over_time", "chart_kind", about)
    signals = [r for r in look.many("over_time", "signal")
               if r.group == about or r.group.startswith(f"{about};number=")]
    names = {r.at: quarter_name(_quarter_of(r)) for r in found}
    marked = [names[r.at] for r in signals if r.at in names]
    name = look.say(f"measures.{statistic}") + ("" if group == "all" else f", {look.texts.name('pressure', group[9:])}")
    claim = _verdict(look, name, about, kind, signals, names)
    limits = look.one("over_time", "limits", about)
    drawing = charts.quarters(
        Words(f"time-{statistic.replace('_', '-')}-{group[-3:]}", claim, name),
        [(names[r.at], r.value, f"{names[r.at]}: {with_unit(r)}, n {people(r)}") for r in found],
        unit=f"{name}, {found[0].unit or '%'}", rules=_limits(look, limits), marked=marked)
    rows = [[names[r.at], with_unit(r), people(r)] for r in found]
    heads = [Column(look.say("words.quarter")), Column(name), Column(look.say("words.people"))]
    return Figure(f"fig-time-{statistic.replace('_', '-')}-{group[-3:]}", claim, look.say("quarter.over_time.measure",
                  measure=name), look.say("quarter.over_time.reading"), drawing,
                  table(f"t-time-{statistic.replace('_', '-')}-{group[-3:]}", name, heads, rows).html,
                  _how_often(look, about))


def _quarter_of(row: Result) -> str:
    """The quarter stands at the head of the row's text; words about a missing value may follow."""
    return row.text.split(" ")[0].rstrip(":;,")


def _verdict(look: Look, name: str, about: str, kind: Result | None, signals: list[Result],
             names: dict[float | None, str]) -> str:
    if kind is None or kind.text == "none":
        return look.say("quarter.over_time.too_few", measure=name)
    run = look.one("over_time", "run_chart", about)
    if signals:
        first = signals[0]
        return look.say("quarter.over_time.signal", measure=name, rule=f"{tell(first.text)} {tell(first.note)}".strip(),
                        quarter=names.get(first.at, "the last quarter"))
    if run and run.text == "signal":
        return look.say("quarter.over_time.run_signal", measure=name)
    return look.say("quarter.over_time.quiet", measure=name)


def _limits(look: Look, limits: Result | None) -> list[Rule]:
    if limits is None or limits.value is None:
        return []
    rules = [Rule(limits.value, look.say("quarter.over_time.centre"), True)]
    for end, word in ((limits.high, "upper"), (limits.low, "lower")):
        if end is not None:
            rules.append(Rule(end, look.say(f"quarter.over_time.{word}")))
    return rules


def _how_often(look: Look, about: str) -> str:
    share = look.one("over_time", "false_signal_pct", about)
    run, crossings = (look.one("over_time", s, about) for s in ("longest_run", "crossings"))
    pieces = []
    if share and share.value is not None:
        pieces.append(look.say("quarter.over_time.false", share=with_unit(share)))
    if run and crossings and run.value is not None:
        pieces.append(look.say("quarter.over_time.runs", run=value(run, places=0),
                               crossings=value(crossings, places=0)))
    return " ".join(pieces)


def sites(look: Look) -> SectionView:
    """Sites in the order of the alphabet, never ranked; measured gain beside what the model expects of its people."""
    names = sorted({part(r, "site") for r in look.section("sites") if part(r, "site")})
    heads = [Column(look.say("words.site")), *(Column(look.say(f"quarter.sites.{h}"))
                                               for h in ("people", "logged", "adherence", "in_band"))]
    rows = [[s, people(look.one("sites", "people", f"site={s}"), "0"),
             *(_middle(look.one("sites", m, f"site={s}"))
               for m in ("logged_pct", "session_adherence_pct", "in_band_pct"))] for s in names]
    gains = []
    for site in names:
        for pressure in ("mip", "mep"):
            raw, due = (look.one("sites", m, f"site={site};pressure={pressure}", 12)
                        for m in ("raw_gain_cmh2o", "expected_gain_cmh2o"))
            if raw or due:
                gains.append([f"{site}, {look.texts.name('pressure', pressure)}", with_unit(raw), interval(raw),
                              people(raw), with_unit(due)])
    gain_heads = [Column(look.say("words.site")), *(Column(look.say(f"quarter.sites.{h}"))
                                                    for h in ("gain", "ci", "n", "expected"))]
    return view(said(look.say("quarter.sites.lead")),
                table("t-sites", look.say("quarter.sites.caption"), heads, rows),
                table("t-site-gains", look.say("quarter.sites.gains"), gain_heads, gains) if gains else None)


def _middle(result: Result | None) -> str:
    if result is None or result.value is None or result.low is None:
        return with_unit(result, "not recorded")
    return f"{with_unit(result)} ({interval(result)})"


def cautions(look: Look) -> SectionView:
    """Cautions made by rule, in the order of how far they could change the reading."""
    found = sorted(look.many("cautions", "caution"), key=lambda r: (r.at or 0, r.group))
    heads = [Column(look.say("quarter.cautions.what"), False), Column(look.say("quarter.cautions.how_many")),
             Column(look.say("quarter.cautions.note"), False)]
    rows = [[r.text, _concerned(r), r.note or "no direction known"] for r in found]
    shown = table("t-cautions", look.say("quarter.cautions.caption"), heads, rows[:SHOWN_CAUTIONS]) if rows else None
    rest = table("t-cautions-more", look.say("quarter.cautions.more"), heads, rows[SHOWN_CAUTIONS:]) \
        if len(rows) > SHOWN_CAUTIONS else None
    checked = look.one("cautions", "checked")
    return view(said(look.say("quarter.cautions.lead") if rows else look.say("quarter.cautions.none")), shown,
                said(sentence(checked.text), tone="note") if checked else None,
                Fold(look.say("quarter.cautions.more"), (rest,)) if rest else None)


def _concerned(result: Result) -> str:
    if result.value is not None:
        return of(result)
    return count(result.hits if result.hits is not None else result.n, "everybody")


def _setting(result: Result) -> str:
    """A setting as it was given: 1.26 is not rounded."""
    return result.text or ("none" if result.value is None else as_given(result.value))


def made(look: Look) -> SectionView:
    """Settings, model formulas, and where the numbers can be taken away."""
    formulas = [r for r in look.many("made", "formula") if r.text]
    rows = [[part(r, "name").replace("_", " "), _setting(r), r.unit or "no unit", r.method or "as named",
             r.note or "not stated"] for r in look.many("made", "setting")]
    heads = [Column(look.say(f"quarter.made.{h}"), h == "value")
             for h in ("setting", "value", "unit", "meaning", "source")]
    listed = table("t-settings-used", look.say("quarter.made.caption"), heads, rows) if rows else None
    return view(said(look.say("quarter.made.lead", days=quarter_days(look.meta.quarter))),
                said(*(look.say("quarter.made.formula", pressure=look.texts.name("pressure", part(r, "pressure")),
                                formula=r.text) for r in formulas), tone="list"),
                Fold(look.say("quarter.made.settings"), (listed,)) if listed else None)

