"""Sites: records first, then training, then gain; a funnel from ten sites on; and a part for each site of its own."""

from __future__ import annotations

from pipeline.report.chart_style import Words
from pipeline.report.funnel_lines import Dot, funnel
from pipeline.report.look import Look, part
from pipeline.report.tables import Column, table
from pipeline.report.views import Block, Figure, Heading, Opening, SectionView, said, view
from pipeline.report.words import count, interval, number, of, people, value, with_unit
from pipeline.results import Result

PROCESS = ("session_adherence_pct", "in_band_pct")
FUNNELS = ("tests_done_pct", "mip_gain_cmh2o")
LEVELS = ("0.95", "0.998")
WHOLE = {"logged_pct": ("dose", "period=this"), "session_adherence_pct": ("dose", "period=this"),
         "in_band_pct": ("effort", "period=this")}


def names(look: Look) -> list[str]:
    """The sites in the order of the alphabet."""
    return sorted({part(r, "site") for r in look.section("sites") if part(r, "site")})


def sites(look: Look) -> SectionView:
    """All sites side by side, never ranked."""
    return view(said(look.say("quarter.sites.lead")), _records(look), _process(look), _outcome(look),
                *(_funnel(look, m) for m in FUNNELS), said(*(_no_funnel(look, m) for m in FUNNELS), tone="note"))


def _row(look: Look, site: str, *statistics: str) -> list[str]:
    return [site, *(_middle(look.one("sites", s, f"site={site}")) for s in statistics)]


def _middle(result: Result | None) -> str:
    if result is None or result.value is None or result.low is None:
        return with_unit(result, "not recorded")
    return f"{with_unit(result)} ({interval(result)})"


def _heads(look: Look, *which: str) -> list[Column]:
    return [Column(look.say("words.site")), *(Column(look.say(f"quarter.sites.{h}")) for h in which)]


def _records(look: Look) -> Block:
    """Logging, and in the internal edition what else is known of the records."""
    more = ("filled", "set_aside", "open_questions") if look.many("sites", "filled_pct") else ()
    rows = []
    for site in names(look):
        counts = [people(look.one("sites", m, f"site={site}"), "0") for m in more[1:]]
        rows.append([*_row(look, site, "logged_pct"),
                     *([of(look.one("sites", "filled_pct", f"site={site}")), *counts] if more else [])])
    return table("t-site-records", look.say("quarter.sites.records"), _heads(look, "logged", *more), rows)


def _process(look: Look) -> Block:
    rows = []
    for site in names(look):
        name, *medians = _row(look, site, *PROCESS)
        rows.append([name, people(look.one("sites", "people", f"site={site}"), "0"), *medians])
    return table("t-sites", look.say("quarter.sites.caption"), _heads(look, "people", "adherence", "in_band"), rows)


def _outcome(look: Look) -> Block | None:
    rows = []
    for site in names(look):
        for pressure in ("mip", "mep"):
            raw, due = (look.one("sites", m, f"site={site};pressure={pressure}", 12)
                        for m in ("raw_gain_cmh2o", "expected_gain_cmh2o"))
            if raw or due:
                rows.append([f"{site}, {look.texts.name('pressure', pressure)}", with_unit(raw), interval(raw),
                             people(raw), with_unit(due)])
    return table("t-site-gains", look.say("quarter.sites.gains"), _heads(look, "gain", "ci", "n", "expected"),
                 rows) if rows else None


def _no_funnel(look: Look, measure: str) -> str:
    kind = look.one("sites", "funnel_sites", f"measure={measure}")
    if kind is None or kind.text == "funnel":
        return ""
    return look.say("quarter.sites.no_funnel", measure=look.say(f"quarter.sites.{measure}"), n=people(kind))


def _funnel(look: Look, measure: str, own: str = "") -> Block | None:
    points = look.many("sites", "funnel_point", measure=measure)
    centre = look.one("sites", "funnel_centre", f"measure={measure}")
    if not points or centre is None or centre.value is None:
        return None
    limits = {level: [(r.at or 0.0, r.low or 0.0, r.high or 0.0) for r in
                      look.many("sites", "funnel_limits", measure=measure, level=level)] for level in LEVELS}
    name = look.say(f"quarter.sites.{measure}")
    outside = [r for r in points if r.text == "outside 99.8 %"]
    claim = look.say("quarter.sites.claim_outside" if outside else "quarter.sites.claim_inside", measure=name,
                     n=number(len(outside)), of=number(len(points)))
    stem = f"funnel-{measure.replace('_', '-')}" + (f"-{names(look).index(own)}" if own else "")
    dots = [Dot(r.n or 0, r.value or 0.0, f"{value(r)} {r.unit}, n {people(r)}", own if part(r, "site") == own else "")
            for r in points]
    drawing = funnel(Words(stem, claim, name), dots, limits, centre.value, unit=centre.unit,
                     x_title=look.say("quarter.sites.funnel_n", what=centre.n_of))
    rows = [[part(r, "site"), with_unit(r), people(r), r.text] for r in points]
    chance = [look.one("sites", "funnel_by_chance_pct", f"measure={measure};level={level}") for level in LEVELS]
    caution = look.say("quarter.sites.by_chance", sites=number(len(points)), inner=with_unit(chance[0]),
                       outer=with_unit(chance[1]))
    heads = [Column(look.say("words.site")), Column(name), Column(look.say("quarter.sites.n")),
             Column(look.say("quarter.sites.where"), False)]
    reading = look.say("quarter.sites.funnel_reading", how=points[0].method)
    return Figure(f"fig-{stem}", claim, name, reading, drawing, table(f"t-{stem}", name, heads, rows).html, caution)


def opening(look: Look) -> Opening:
    """How many sites there are."""
    return Opening((look.say("sites.own.open", n=number(len(names(look)))),), ())


def own(look: Look) -> SectionView:
    """A part for each site: its figures beside those of all sites together."""
    blocks: list[Block | None] = [said(look.say("sites.own.lead"))]
    for site in names(look):
        blocks += [Heading(site), _beside_all(look, site), *(_funnel(look, m, site) for m in FUNNELS)]
    return view(*blocks)


def _beside_all(look: Look, site: str) -> Block:
    where, rows = f"site={site}", []
    for statistic, (section, period) in WHOLE.items():
        mine, all_of_us = look.one("sites", statistic, where), look.one(section, statistic, period)
        rows.append([look.say(f"sites.own.{statistic}"), _middle(mine), people(mine, "not recorded"),
                     _middle(all_of_us), people(all_of_us)])
    filled = look.one("sites", "filled_pct", where)
    rows.insert(0, [look.say("sites.own.filled_pct"), with_unit(filled), count(filled.n if filled else None),
                    *_all_filled(look)])
    for pressure in ("mip", "mep"):
        mine, all_of_us = (look.one("sites", "raw_gain_cmh2o", f"{where};pressure={pressure}", 12),
                           look.one("gains", "raw_gain_cmh2o", f"pressure={pressure}", 12))
        due = look.one("sites", "expected_gain_cmh2o", f"{where};pressure={pressure}", 12)
        name = look.texts.name("pressure", pressure)
        rows.append([look.say("sites.own.raw_gain_cmh2o", pressure=name), _middle(mine), people(mine, "not recorded"),
                     _middle(all_of_us), people(all_of_us)])
        rows.append([look.say("sites.own.expected_gain_cmh2o", pressure=name), with_unit(due), "by the model",
                     "by the model", "by the model"])
    heads = [Column(look.say(f"sites.own.{h}")) for h in ("measure", "here", "n", "all", "n_all")]
    return table(f"t-own-{names(look).index(site)}", look.say("sites.own.caption", site=site), heads, rows)


def _all_filled(look: Look) -> list[str]:
    """Entries filled of all that were expected, over the items."""
    whole = look.one("sites", "filled_pct")
    return [with_unit(whole), count(whole.n if whole else None)]
