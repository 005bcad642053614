"""Quarter page: where the measured gain may come from, as a picture and a table, with the sham arms beside it."""

from __future__ import annotations

from pipeline.report import charts
from pipeline.report.chart_style import Rule, Rung, Words
from pipeline.report.look import Look, part
from pipeline.report.tables import Column, table
from pipeline.report.views import Block, Figure, Fold, Heading, SectionView, Table, said, view
from pipeline.report.words import estimate, interval, number, of, people, reach, sentence, value
from pipeline.results import Result

PRESSURES = ("mip", "mep")


def gain_apart(look: Look) -> SectionView:
    """Measured gain, its parts and what is left, for each pressure."""
    blocks: list[Block | None] = []
    for pressure in PRESSURES:
        gain = look.one("gain_apart", "measured_cmh2o", f"pressure={pressure}", 12)
        left = _part(look, pressure, "remainder")
        if gain is None or gain.value is None or left is None or left.low is None or left.high is None:
            continue
        blocks += [Heading(look.texts.name("pressure", pressure)), said(*_lead(look, pressure, gain, left)),
                   _figure(look, pressure, gain, left), _assumptions(look, pressure),
                   said(*_beside(look, pressure), tone="note")]
    rest = [look.say("quarter.gain_apart.overlap"), look.say("quarter.gain_apart.made")] if blocks else []
    return view(said(*rest), *blocks, _how(look))


def _part(look: Look, pressure: str, name: str) -> Result | None:
    return look.one("gain_apart", "part_cmh2o", f"pressure={pressure};part={name}", 12)


def _ends(left: Result) -> dict[str, str]:
    return {"low": number(left.low or 0.0, 1), "high": number(left.high or 0.0, 1)}


def _lead(look: Look, pressure: str, gain: Result, left: Result) -> list[str]:
    name = look.texts.name("pressure", pressure)
    return [look.say("quarter.gain_apart.lead", pressure=name, gain=estimate(gain), n=people(gain), **_ends(left))]


def _figure(look: Look, pressure: str, gain: Result, left: Result) -> Block:
    name = look.texts.name("pressure", pressure)
    claim = look.say("quarter.gain_apart.claim", pressure=name, gain=value(gain, places=1), **_ends(left))
    measure = look.say("quarter.gain_apart.measure", pressure=name)
    drawing = charts.ladder(Words(f"gain-apart-{pressure}", claim, measure), _rungs(look, pressure, gain),
                            x_title=look.say("quarter.gain_apart.axis"), rules=[Rule(0, "", True)])
    return Figure(f"fig-gain-apart-{pressure}", claim, measure, look.say("quarter.gain_apart.reading"), drawing,
                  _table(look, pressure).html, look.say("quarter.gain_apart.caution"))


def _label(look: Look, row: Result) -> str:
    return look.texts.name("gain_part", part(row, "part"))


def _rungs(look: Look, pressure: str, gain: Result | None) -> list[Rung]:
    rungs = [] if gain is None else [
        Rung(look.texts.name("gain_part", "measured"), gain.value, gain.low, gain.high,
             text=f"{value(gain, places=1)} ({interval(gain)})")]
    for row in look.many("gain_apart", "part_cmh2o", pressure=pressure):
        if row.value is None:
            rungs.append(Rung(_label(look, row), None, text=look.say("quarter.gain_apart.no_figure"), is_main=False))
            continue
        rungs.append(Rung(_label(look, row), row.value, row.low, row.high, text=_reach(row),
                          is_main=part(row, "part") == "remainder"))
    for row in _sham(look, pressure):
        if row.low is not None and row.high is not None:
            population = look.texts.name("condition_group", part(row, "condition_group"))
            rungs.append(Rung(look.say("quarter.gain_apart.sham", population=population),
                              row.low if row.low == row.high else None, outer_low=row.low, outer_high=row.high,
                              text=_reach(row), is_main=False))
    return rungs


def _reach(row: Result) -> str:
    """The range alone; one figure where both its ends are printed the same."""
    if row.low is None or row.high is None:
        return value(row, places=1)
    ends = number(row.low, 1), number(row.high, 1)
    return ends[0] if ends[0] == ends[1] else reach(row.low, row.high, 1)


def _sham(look: Look, pressure: str) -> list[Result]:
    """Sham arms by population: the range over every population is no population's."""
    found = look.many("gains", "sham_arm_rise_cmh2o", pressure=pressure)
    return [r for r in found if part(r, "condition_group") != "any"]


def _table(look: Look, pressure: str) -> Table:
    none = look.say("quarter.gain_apart.no_figure")
    rows = [[_label(look, r), none if r.value is None else value(r, places=1), none if r.value is None else _reach(r)]
            for r in look.many("gain_apart", "part_cmh2o", pressure=pressure)]
    rows += [[rung.label, none if rung.value is None else number(rung.value, 1), rung.text]
             for rung in _rungs(look, pressure, None) if rung.label not in {r[0] for r in rows}]
    heads = [Column(look.say(f"quarter.gain_apart.{h}")) for h in ("part", "middle", "range")]
    return table(f"t-gain-apart-{pressure}", _caption(look, "caption", pressure), heads, rows)


def _assumptions(look: Look, pressure: str) -> Block:
    rows = [[_label(look, r), look.say("quarter.gain_apart.no_figure") if r.value is None else _reach(r),
             sentence(r.text)] for r in look.many("gain_apart", "part_cmh2o", pressure=pressure)]
    heads = [Column(look.say(f"quarter.gain_apart.{h}"), h == "range") for h in ("part", "range", "assumes")]
    return table(f"t-gain-assumes-{pressure}", _caption(look, "assumed", pressure), heads, rows)


def _caption(look: Look, name: str, pressure: str) -> str:
    return look.say(f"quarter.gain_apart.{name}", pressure=look.texts.name("pressure", pressure))


def _beside(look: Look, pressure: str) -> list[str]:
    name = look.texts.name("pressure", pressure)
    lines = []
    without = [look.texts.name("condition_group", part(r, "condition_group"))
               for r in _sham(look, pressure) if r.low is None]
    if without:
        lines.append(look.say("quarter.gain_apart.sham_none", pressure=name, populations=", ".join(without)))
    known = look.one("gain_apart", "efforts_known", f"pressure={pressure}")
    if known is not None and known.value is not None:
        lines.append(look.say("quarter.gain_apart.efforts_known", pressure=name, share=of(known)))
    rules = [f"{look.texts.name('assigned_by', part(r, 'assigned_by'))} {people(r)}"
             for r in look.many("gain_apart", "assigned", pressure=pressure)]
    return [*lines, look.say("quarter.gain_apart.assigned", pressure=name, rules=", ".join(rules))] if rules else lines


def _how(look: Look) -> Block | None:
    seen = {part(r, "part"): r for r in look.many("gain_apart", "part_cmh2o") if r.method}
    lines = [sentence(f"{_label(look, r)}: {r.method}") for r in seen.values()]
    listed = said(*lines, tone="list")
    return Fold(look.say("quarter.gain_apart.how"), (listed,)) if listed else None
