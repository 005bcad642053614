"""Protocols page, first part: what is estimated, what was trained, who is compared and whether the groups are alike."""

from __future__ import annotations

from pipeline.report import charts
from pipeline.report.chart_style import Rule, Rung, Words
from pipeline.report.look import Look, pair, part
from pipeline.report.sections_people import flow_order, leaving
from pipeline.report.tables import Column, indented, table
from pipeline.report.views import Block, Figure, SectionView, said, view
from pipeline.report.words import interval, number, of, people, reach, sentence, value
from pipeline.results import Result

PRESSURES = ("mip", "mep")
#: Standardised differences drawn; all of them stand in the numbers of the figure.
MOST_SHOWN = 12
TRAINED = ("people", "planned_weeks", "prescribed_sessions_per_week", "done_sessions_per_week",
           "prescribed_breaths_per_week", "done_breaths_per_week", "target_band_low", "target_band_high")


def protocols(look: Look, section: str) -> list[str]:
    """The protocols that a section has rows for, by name."""
    return sorted({part(r, "protocol") for r in look.section(section) if part(r, "protocol")})


def ranged(result: Result | None, otherwise: str = "no figure", places: int | None = None) -> str:
    """A value with its interval in brackets, where there is one."""
    if result is None or result.value is None:
        return value(result, otherwise)
    tail = f" ({interval(result)})" if result.low is not None and result.high is not None else ""
    return value(result, places=places) + tail


def estimand(look: Look) -> SectionView:
    """The attributes of what is estimated, in the order of the guideline that names them."""
    rows = [[look.texts.name("attribute", part(r, "attribute")), sentence(r.text)]
            for r in sorted(look.many("estimand", "attribute"), key=lambda r: r.at or 0)]
    heads = [Column(look.say("protocols.estimand.attribute")), Column(look.say("protocols.estimand.text"), False)]
    source = next((r.method for r in look.many("estimand", "attribute") if r.method), "")
    none = look.one("estimand", "plan")
    return view(said(sentence(none.text) if none else "", look.say("protocols.estimand.lead"),
                     sentence(source) if source else "",
                     look.say("protocols.estimand.hash", hash=look.meta.plan_hash) if look.meta.plan_hash else ""),
                table("t-estimand", look.say("protocols.estimand.caption"), heads, rows) if rows else None)


def training(look: Look) -> SectionView:
    """What each protocol prescribed and what was done of it."""
    names = protocols(look, "training")
    rows = []
    for statistic in TRAINED:
        cells = [look.one("training", statistic, f"protocol={p}") for p in names]
        if any(cells):
            rows.append([look.say(f"protocols.training.{statistic}"),
                         *((people(c) if statistic == "people" else _one_place(c)) for c in cells)])
    classes = [r for r in look.many("training", "people") if part(r, "device_class")]
    for kind in dict.fromkeys(part(r, "device_class") for r in classes):
        cells = [look.one("training", "people", f"protocol={p};device_class={kind}") for p in names]
        rows.append([indented(look.texts.name("device_class", kind), 1), *(people(c, "0") for c in cells)])
    heads = [Column(look.say("words.measure")), *(Column(p) for p in names)]
    missing = [look.texts.name("item", part(r, "item")) for r in look.many("training", "not_recorded")]
    return view(table("t-trained", look.say("protocols.training.caption"), heads, rows) if rows else None,
                said(look.say("protocols.training.missing", items=", ".join(missing)) if missing else "", tone="note"))


def _one_place(result: Result | None) -> str:
    if result is None or result.value is None:
        return value(result, "no figure")
    shown = number(result.value, 1)
    if result.low is None or result.high is None:
        return shown
    return f"{shown} ({reach(result.low, result.high, 1)})"


def compared(look: Look) -> SectionView:
    """From courses to modelled courses, one column a protocol."""
    names, blocks = protocols(look, "compared"), []
    for pressure in PRESSURES:
        stays = look.many("compared", "stay", pressure=pressure)
        leaves = look.many("compared", "leave", pressure=pressure)
        if stays:
            heads = [Column(look.say("quarter.counted.stub")), *(Column(p) for p in names)]
            caption = look.say("protocols.compared.caption", pressure=look.texts.name("pressure", pressure))
            blocks.append(table(f"t-compared-{pressure}", caption, heads, _flow(look, names, stays, leaves)))
    return view(said(look.say("protocols.compared.lead")), *blocks)


def _flow(look: Look, names: list[str], stays: list[Result], leaves: list[Result]) -> list[list[str]]:
    rows: list[list[str]] = []
    for kind, name, found in flow_order(stays, leaves):
        cells = {part(r, "protocol"): people(r) for r in found}
        if kind == "leave":
            rows.append([indented(look.texts.name("reason", name), 1), *(leaving(cells.get(p, "0")) for p in names)])
        else:
            rows.append([look.texts.name("step", name), *(cells.get(p, "0") for p in names)])
    return rows


def alike(look: Look) -> SectionView:
    """Standardised differences at the start, without p-values, and the means and shares behind them."""
    return view(said(look.say("protocols.alike.lead")), _differences(look), _means(look))


def covariate(look: Look, code: str) -> str:
    """A characteristic as a reader knows it: "sex:female" is a level."""
    kind, colon, level = code.partition(":")
    name = look.texts.name("covariate", kind)
    return f"{name}: {look.texts.name(kind, level)}" if colon else name


def _differences(look: Look) -> Block | None:
    found = [r for r in look.many("alike", "smd") if r.value is not None]
    if not found:
        return None
    largest = max(found, key=lambda r: (r.value or 0.0, r.group))
    kind = "claim_shown" if len(found) < len(look.many("alike", "smd")) else "claim"
    claim = look.say(f"protocols.alike.{kind}", covariate=covariate(look, part(largest, "covariate")),
                     pair=pair(largest), size=value(largest, places=2))
    measure = look.say("protocols.alike.measure")
    order = sorted(found, key=lambda r: (-(r.value or 0.0), r.group))
    rungs = [Rung(f"{pair(r)}, {covariate(look, part(r, 'covariate'))}", r.value,
                  text=value(r, places=2), is_main=False) for r in order]
    drawing = charts.ladder(Words("alike", claim, measure), rungs[:MOST_SHOWN],
                            x_title=look.say("protocols.alike.axis"),
                            rules=[Rule(0.1, number(0.1, 1)), Rule(0.25, number(0.25, 2))], also=(0.0,))
    rows = [[r.label, r.text] for r in rungs]
    heads = [Column(look.say("protocols.alike.pair")), Column(look.say("protocols.alike.size"))]
    return Figure("fig-alike", claim, measure, look.say("protocols.alike.reading"), drawing,
                  table("t-smd", look.say("protocols.alike.sizes"), heads, rows).html,
                  look.say("protocols.alike.caution"))


def _means(look: Look) -> Block | None:
    names, rows = protocols(look, "alike"), []
    found = [*look.many("alike", "mean"), *look.many("alike", "share_pct")]
    for code in dict.fromkeys(part(r, "covariate") for r in found):
        cells = {part(r, "protocol"): r for r in found if part(r, "covariate") == code}
        rows.append([covariate(look, code), *(_mean(look, cells.get(p)) for p in names)])
    heads = [Column(look.say("protocols.alike.covariate")), *(Column(p) for p in names)]
    return table("t-alike", look.say("protocols.alike.means"), heads, rows) if rows else None


def _mean(look: Look, result: Result | None) -> str:
    if result is None or result.value is None:
        return value(result, "no figure")
    if result.statistic == "share_pct":
        return of(result)
    spread = look.one("alike", "sd", result.group)
    return number(result.value, 1) + (f" ± {value(spread, places=1)}" if spread and spread.value is not None else "")


def overlap(look: Look) -> SectionView:
    """People by site and protocol, and whether protocol and site can be told apart."""
    found = [r for r in look.many("overlap", "people") if part(r, "site")]
    names = sorted({part(r, "protocol") for r in found})
    cells = {(part(r, "site"), part(r, "protocol")): people(r) for r in found}
    rows = [[s, *(cells.get((s, p), "0") for p in names)] for s in sorted({part(r, "site") for r in found})]
    heads = [Column(look.say("words.site")), *(Column(p) for p in names)]
    verdicts = [look.say("protocols.overlap.verdict", pair=pair(r), verdict=r.text,
                         why=sentence(r.note) if r.note else "") for r in look.many("overlap", "separable")]
    return view(said(*verdicts, tone="list"),
                table("t-overlap", look.say("protocols.overlap.caption"), heads, rows) if rows else None)


def missing_outcome(look: Look) -> SectionView:
    """Who has no 12-week outcome, and how they started."""
    rows = [[f"{look.texts.name('pressure', part(r, 'pressure'))}, {part(r, 'protocol')}", of(r)]
            for r in look.many("missing_outcome", "lacks_outcome")]
    heads = [Column(look.say("words.protocol")), Column(look.say("protocols.missing_outcome.lacks"))]
    return view(table("t-lacks", look.say("protocols.missing_outcome.caption"), heads, rows) if rows else None,
                _with_and_without(look))


def _with_and_without(look: Look) -> Block | None:
    rows = []
    for pressure in PRESSURES:
        for outcome in ("yes", "no"):
            start, done = (look.one("missing_outcome", s, f"pressure={pressure};outcome={outcome}")
                           or look.one("missing_outcome", s, f"pressure={pressure};outcome={outcome}", 12)
                           for s in ("baseline_cmh2o", "adherence_pct"))
            if start or done:
                name = look.texts.name("pressure", pressure)
                rows.append([f"{name}, {look.say(f'protocols.missing_outcome.{outcome}')}", people(start),
                             ranged(start), ranged(done)])
    heads = [Column(look.say(f"protocols.missing_outcome.{h}")) for h in ("group", "n", "baseline", "adherence")]
    return table("t-with-without", look.say("protocols.missing_outcome.starts"), heads, rows) if rows else None

