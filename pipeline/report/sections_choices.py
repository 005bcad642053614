"""Protocols page: the same questions under other choices, each row saying what it would let one conclude."""

from __future__ import annotations

from pipeline.report import charts
from pipeline.report.chart_style import Rule, Rung, Words
from pipeline.report.light_tables import light_table
from pipeline.report.look import Look, pair, part
from pipeline.report.sections_protocols import PRESSURES, ranged
from pipeline.report.tables import Column, table
from pipeline.report.views import Block, Figure, Fold, SectionView, said, view
from pipeline.report.words import chance, interval, people, reach, value
from pipeline.results import Result

STATISTICS = ("difference_cmh2o", "gain_cmh2o", "dose_per_10_points_cmh2o")
OTHERWISE, POST_HOC = " \u2020", "post hoc"
"""The mark of an analysis that concludes otherwise; the kind of one asked for after the data were seen."""


def choices(look: Look) -> SectionView:
    """What every question comes to under other choices; then one picture a question, one row an analysis."""
    blocks: list[Block | None] = [said(look.say("protocols.choices.lead"), look.say("protocols.choices.means")),
                                  _summary(look), *(variance(look, p) for p in PRESSURES),
                                  _retested(look), _post_hoc(look)]
    for pressure in PRESSURES:
        inner: list[Block | None] = []
        for place, found in _questions(look, pressure):
            inner += [_choice_figure(look, pressure, found[0].statistic, place, found), _people(look, found[0])]
        if inner:
            name = look.texts.name("pressure", pressure)
            blocks.append(Fold(look.say("protocols.choices.fold", pressure=name), tuple(b for b in inner if b)))
    return view(*blocks)


def _questions(look: Look, pressure: str) -> list[tuple[int, list[Result]]]:
    """Place and rows of each question of a pressure: a statistic, and the two protocols where it is a difference."""
    made = []
    for statistic in STATISTICS:
        rows = look.many("choices", statistic, pressure=pressure)
        for place, which in enumerate(dict.fromkeys(part(r, "protocols") for r in rows), 1):
            made.append((place, [r for r in rows if part(r, "protocols") == which]))
    return made


def _summary(look: Look) -> Block | None:
    """One row a question: the primary answer, the reach of the others, how many conclude otherwise."""
    rows, groups = [], []
    for pressure in PRESSURES:
        for _, found in _questions(look, pressure):
            main = next((r for r in found if r.text == "primary"), None)
            told = look.one("choices", "conclusion", _of(found[0]))
            known = [r.value for r in found if r.value is not None and r.text == "also"]
            if main is None or told is None or not known:
                continue
            rows.append([_what(look, found[0]), ranged(main), reach(min(known), max(known), 1),
                         look.say("protocols.choices.of_n", otherwise=value(told, places=0), n=people(told))])
            groups.append(look.texts.name("pressure", pressure))
    heads = [Column(look.say(f"protocols.choices.{h}")) for h in ("question_head", "primary_head", "reach", "how_many")]
    return table("t-choices", look.say("protocols.choices.caption"), heads, rows, groups) if rows else None


def _what(look: Look, result: Result) -> str:
    """A question in words."""
    tail = f", {pair(result)}" if part(result, "protocols") else ""
    return look.say(f"protocols.choices.{result.statistic}") + tail


def _of(result: Result) -> str:
    """The subgroup that says which target is meant, as `conclusion` and `influence` rows name it."""
    tail = f";protocols={part(result, 'protocols')}" if part(result, "protocols") else ""
    return f"pressure={part(result, 'pressure')};of={result.statistic}{tail}"


def _changes(look: Look, result: Result) -> str:
    """What the analysis lets one conclude otherwise; empty where nothing."""
    stem, _, _ = result.group.partition(";protocols=")
    _, _, of = _of(result).partition(";")
    found = look.one("choices", "changes", f"{stem};{of}")
    return "" if found is None else look.texts.tell(found.text)


def _claim(look: Look, main: Result | None, name: str, what: str) -> str:
    """How many analyses conclude otherwise, computed."""
    told = None if main is None else look.one("choices", "conclusion", _of(main))
    if main is None or told is None or told.value is None:
        return look.say("protocols.choices.no_primary", pressure=name, what=what)
    many, otherwise = "none" if told.value == 0 else "some", value(told, places=0)
    if told.n is None:  # how many there are is hidden as the twin of a small count
        return look.say(f"protocols.choices.{many}_of_hidden", pressure=name, what=what, otherwise=otherwise)
    return look.say(f"protocols.choices.{many}_otherwise", pressure=name, what=what, n=people(told),
                    otherwise=otherwise)


def _choice_figure(look: Look, pressure: str, statistic: str, place: int, found: list[Result]) -> Block | None:
    main = next((r for r in found if r.text == "primary" and r.value is not None), None)
    name = look.texts.name("pressure", pressure)
    what = _what(look, found[0])
    if not any(r.value is not None for r in found):
        return said(look.say("protocols.choices.none", pressure=name, what=what), tone="empty")
    told = [_changes(look, r) for r in found]
    rungs = [Rung(_label(look, r) + (OTHERWISE if changed else ""), r.value, r.low, r.high, text=_drawn(look, r),
                  is_main=r.text == "primary") for r, changed in zip(found, told, strict=True)]
    claim = _claim(look, main, name, what)
    measure = look.say("protocols.choices.measure", pressure=name, what=what)
    own = (main.low, main.high) if main and main.low is not None and main.high is not None else None
    slug = f"{pressure}-{statistic.split('_')[0]}-{place}"
    drawing = charts.ladder(Words(f"choices-{slug}", claim, measure), rungs,
                            x_title=look.say("protocols.choices.axis"), rules=[Rule(0, "", True)],
                            band=own)
    same = look.say("protocols.choices.same")
    rows = [[look.texts.tell(part(r, "choice")), look.texts.tell(part(r, "kind")), value(r, "did not fit"),
             interval(r, "none"), _verdict(look, r, changed or same)] for r, changed in zip(found, told, strict=True)]
    heads = [Column(look.say(f"protocols.choices.{h}"), h in ("value", "ci"))
             for h in ("choice", "kind", "value", "ci", "otherwise")]
    return Figure(f"fig-choices-{slug}", claim, measure, look.say("protocols.choices.reading"), drawing,
                  light_table(f"t-choices-{slug}", measure, heads, rows).html)


def _label(look: Look, result: Result) -> str:
    label = look.texts.tell(part(result, "choice"))
    return f"{label} ({look.texts.tell(POST_HOC)})" if part(result, "kind") == POST_HOC else label


def _drawn(look: Look, result: Result) -> str:
    """The words at the right of a row of the picture: the reason of a failed one stands in the table."""
    return ranged(result) if result.value is not None else look.texts.tell(result.text.partition(":")[0])


def _verdict(look: Look, result: Result, otherwise: str) -> str:
    if result.value is None:
        return look.say("protocols.choices.no_answer")
    return look.texts.tell("primary") if result.text == "primary" else otherwise


def _people(look: Look, one: Result) -> Block | None:
    """What single people do to one answer: counts, and in the internal edition who moves it most."""
    past, tips = (look.one("choices", s, _of(one)) for s in ("influence_past_1_se", "influence_tipping"))
    if past is None or tips is None:
        return None
    lines = [look.say("protocols.choices.people", past=people(past), tips=people(tips))]
    most = [r for r in look.many("choices", "influence_most_se") if r.group.endswith(_of(one))]
    if most:
        lines.append(look.say("protocols.choices.most", person=part(most[0], "key"), size=value(most[0], places=2)))
    return said(*lines, tone="note")


def variance(look: Look, pressure: str) -> Block | None:
    """Whether the spread of tests grows with the level, in a sentence."""
    power, p = (look.one("choices", s, f"pressure={pressure}") for s in ("variance_power", "variance_power_p"))
    if power is None or power.value is None or p is None or p.value is None:
        return None
    kind = "flat" if p.value >= 0.05 else "grows" if power.value > 0 else "shrinks"
    return said(look.say(f"protocols.choices.spread_{kind}", pressure=look.texts.name("pressure", pressure),
                         power=value(power, places=2), p=chance(p)), tone="note")


def _retested(look: Look) -> Block | None:
    """What the weights by the chance of being retested leave of the people retested, and how they are made."""
    lines = [line for line in (_weights_left(look, p) for p in PRESSURES) if line]
    return said(*lines, look.say("protocols.choices.retested_by"), tone="note") if lines else None


def _weights_left(look: Look, pressure: str) -> str:
    size, largest, cut = (next(iter(look.many("choices", s, pressure=pressure, kind="drop-out")), None)
                          for s in ("effective_n", "largest_weight", "cut_pct"))  # fmt: skip
    if size is None or largest is None or cut is None:
        return ""
    return look.say("protocols.choices.retested", pressure=look.texts.name("pressure", pressure),
                    size=value(size, places=0), largest=value(largest, places=2), cut=value(cut, places=1))


def _post_hoc(look: Look) -> Block | None:
    """Every analysis asked for after the data were seen, with its condition and day."""
    rows = [r for s in STATISTICS for r in look.many("choices", s) if part(r, "kind") == POST_HOC]
    told = dict.fromkeys((part(r, "choice"), r.note) for r in rows if r.note)
    return said(*(look.say("protocols.choices.post_hoc", label=label, note=note) for label, note in told), tone="list")
