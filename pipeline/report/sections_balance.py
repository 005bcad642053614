"""Protocols page: are the protocols alike before and after weights, and could anybody have been given either."""

from __future__ import annotations

from pipeline.report import charts
from pipeline.report.chart_style import Rule, Rung, Words
from pipeline.report.light_tables import light_table
from pipeline.report.look import Look, pair, part
from pipeline.report.mirrored import Bar, mirrored
from pipeline.report.sections_protocols import PRESSURES, covariate
from pipeline.report.tables import Column, table
from pipeline.report.views import Block, Figure, Fold, Html, SectionView, said, view
from pipeline.report.words import number, of, people, sentence, value
from pipeline.results import Result

PER = 0.05
"""Width of chance that a bar's height is told for."""


def balance(look: Look) -> SectionView:
    """The model of who was given which, what the weights leave, balance and overlap, for each pressure."""
    blocks: list[Block | None] = [said(look.say("protocols.balance.lead"))]
    for pressure in PRESSURES:
        lacks = look.one("balance", "not_weighted", f"pressure={pressure}")
        if lacks is not None:
            blocks.append(_not_weighted(look, pressure, lacks))
        blocks += [_model(look, pressure), _spread(look, pressure), _differences(look, pressure),
                   _missing(look, pressure), _overlaps(look, pressure)]
    return view(*blocks)


def _not_weighted(look: Look, pressure: str, lacks: Result) -> Block | None:
    needed = look.one("balance", "needed", f"pressure={pressure}")
    return said(look.say("protocols.balance.not_weighted", pressure=look.texts.name("pressure", pressure),
                         why=sentence(lacks.text)),
                look.say("protocols.balance.smallest", n=people(lacks), needed=value(needed, places=0)), tone="empty")


def _model(look: Look, pressure: str) -> Block | None:
    model = look.one("balance", "model", f"pressure={pressure}")
    worst = look.one("balance", "largest_smd_after", f"pressure={pressure}")
    least = look.one("balance", "min_chance", f"pressure={pressure}")
    if model is None or worst is None or worst.value is None or least is None:
        return None
    verdict = "alike" if worst.value < 0.1 else "not_alike"
    return said(look.say("protocols.balance.model", pressure=look.texts.name("pressure", pressure),
                         kind=look.texts.tell(model.method), model=model.text),
                look.say(f"protocols.balance.{verdict}", size=value(worst, places=2)),
                look.say("protocols.balance.positive", chance=value(least, places=2)))


def _spread(look: Look, pressure: str) -> Block | None:
    rows = []
    for r in look.many("balance", "people", pressure=pressure):
        if part(r, "protocol"):
            left, most = (look.one("balance", s, r.group) for s in ("effective_n", "max_weight"))
            rows.append([part(r, "protocol"), people(r), value(left, places=0), value(most, places=1)])
    heads = [Column(look.say(f"protocols.balance.{h}")) for h in ("protocol", "people", "effective", "largest")]
    caption = look.say("protocols.balance.left", pressure=look.texts.name("pressure", pressure))
    return table(f"t-weights-{pressure}", caption, heads, rows) if rows else None


def _differences(look: Look, pressure: str) -> Block | None:
    before = look.many("balance", "smd_before", pressure=pressure)
    known = [r for r in before if r.value is not None and not _is_folded(r)]
    if not known:
        return None
    after = {r.group: r for r in look.many("balance", "smd_after", pressure=pressure)}
    widest: dict[str, Result] = {}
    for r in known:
        code = part(r, "covariate")
        if code not in widest or (r.value or 0.0) > (widest[code].value or 0.0):
            widest[code] = r
    order = sorted(widest.values(), key=lambda r: (-(r.value or 0.0), r.group))
    rungs = [Rung(f"{covariate(look, part(r, 'covariate'))}, {pair(r)}", _number(after.get(r.group)), before=r.value,
                  text=look.say("protocols.balance.from_to", before=value(r, places=2),
                                after=value(after.get(r.group), places=2))) for r in order]
    name = look.texts.name("pressure", pressure)
    largest = max((r for r in known), key=lambda r: (r.value or 0.0, r.group))
    # where a share is hidden the largest after weighting is that of those shown
    worst = max((a for r in known if (a := after.get(r.group)) is not None and a.value is not None),
                key=lambda r: (r.value or 0.0, r.group), default=None)
    claim = look.say("protocols.balance.claim", pressure=name, before=value(largest, places=2),
                     after=value(worst, places=2))
    measure = look.say("protocols.balance.measure", pressure=name)
    drawing = charts.ladder(Words(f"balance-{pressure}", claim, measure), rungs,
                            x_title=look.say("protocols.alike.axis"), also=(0.0,),
                            rules=[Rule(0.1, number(0.1, 1)), Rule(0.25, number(0.25, 2))])
    return Figure(f"fig-balance-{pressure}", claim, measure, look.say("protocols.balance.reading"), drawing,
                  _numbers(look, pressure, before, after), look.say("protocols.balance.caution"))


def _number(result: Result | None) -> float | None:
    return None if result is None else result.value


def _is_folded(result: Result) -> bool:
    """True for squares and products, which stand in the numbers only."""
    code = part(result, "covariate")
    return code.endswith(" squared") or " x " in code


def _numbers(look: Look, pressure: str, before: list[Result], after: dict[str, Result]) -> Html:
    rows = []
    for r in before:
        ratios = (look.one("balance", f"variance_ratio_{when}", r.group) for when in ("before", "after"))
        rows.append([f"{covariate(look, part(r, 'covariate'))}, {pair(r)}", value(r, places=2),
                     value(after.get(r.group), places=2), *(value(x, "a share", places=2) for x in ratios)])
    heads = [Column(look.say(f"protocols.balance.{h}"))
             for h in ("covariate", "before", "after", "ratio_before", "ratio_after")]
    caption = look.say("protocols.balance.sizes", pressure=look.texts.name("pressure", pressure))
    return light_table(f"t-balance-{pressure}", caption, heads, rows).html


def _missing(look: Look, pressure: str) -> Block | None:
    rows = [[covariate(look, part(r, "covariate")), of(r)]
            for r in look.many("balance", "missing_pct", pressure=pressure)]
    heads = [Column(look.say("protocols.balance.covariate")), Column(look.say("protocols.balance.missing"))]
    caption = look.say("protocols.balance.not_recorded", pressure=look.texts.name("pressure", pressure))
    return table(f"t-covariates-missing-{pressure}", caption, heads, rows) if rows else None


def _overlaps(look: Look, pressure: str) -> Block | None:
    rows = look.many("balance", "people_by_chance", pressure=pressure)
    figures = [_overlap(look, pressure, place, protocol) for place, protocol in
               enumerate(dict.fromkeys(part(r, "chance_of") for r in rows), 1)]
    if not figures:
        return None
    return Fold(look.say("protocols.balance.fold", pressure=look.texts.name("pressure", pressure)), tuple(figures))


def _overlap(look: Look, pressure: str, place: int, protocol: str) -> Block:
    found = look.many("balance", "people_by_chance", pressure=pressure, chance_of=protocol)
    bars = [Bar(r.low or 0.0, r.high or 1.0, (r.n or 0) * PER / ((r.high or 1.0) - (r.low or 0.0)),
                part(r, "given") == "yes", _bar_tip(look, r)) for r in found if r.n is not None]
    name = look.texts.name("pressure", pressure)
    low, high = _shared([r for r in found if r.n is not None])
    claim = look.say("protocols.balance.overlap_claim", pressure=name, protocol=protocol, low=number(low, 2),
                     high=number(high, 2))
    measure = look.say("protocols.balance.overlap_measure", pressure=name, protocol=protocol)
    slug = f"{pressure}-{place}"
    drawing = mirrored(Words(f"overlap-{slug}", claim, measure), bars, x_title=look.say("protocols.balance.axis"),
                       up=look.say("protocols.balance.given", protocol=protocol),
                       down=look.say("protocols.balance.others"))
    listed = [[look.say(f"protocols.balance.given_{part(r, 'given')}"), f"{number(r.low or 0, 2)}",
               f"{number(r.high or 0, 2)}", people(r)] for r in found]
    heads = [Column(look.say(f"protocols.balance.{h}")) for h in ("group", "from", "to", "people")]
    return Figure(f"fig-overlap-{slug}", claim, measure, look.say("protocols.balance.overlap_reading"), drawing,
                  light_table(f"t-overlap-{slug}", measure, heads, listed).html)


def _shared(found: list[Result]) -> tuple[float, float]:
    """The stretch of chances that bars of both groups cover."""
    ends = [(min(r.low or 0.0 for r in side), max(r.high or 0.0 for r in side))
            for given in ("yes", "no") if (side := [r for r in found if part(r, "given") == given])]
    return max((e[0] for e in ends), default=0.0), min((e[1] for e in ends), default=1.0)


def _bar_tip(look: Look, result: Result) -> str:
    return look.say("protocols.balance.tip", n=people(result), low=number(result.low or 0, 2),
                    high=number(result.high or 0, 2))
