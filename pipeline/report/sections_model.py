"""Protocols page, second part: the model, the differences, dose and effort, whether to believe it, other choices."""

from __future__ import annotations

from pipeline.report import charts
from pipeline.report.chart_style import Rule, Rung, Spot, Words
from pipeline.report.look import Look, pair, part
from pipeline.report.sections_choices import variance
from pipeline.report.sections_plan import registrations, standing_of
from pipeline.report.sections_protocols import PRESSURES, ranged
from pipeline.report.tables import Column, table
from pipeline.report.views import Block, Figure, Fold, Heading, SectionView, said, side, view
from pipeline.report.words import chance, estimate, interval, number, people, sentence, value, week, with_unit
from pipeline.results import Result


def fitted(look: Look) -> SectionView:
    """Formula, state, mean terms, random parts, for each pressure."""
    blocks: list[Block | None] = []
    for pressure in PRESSURES:
        terms = look.many("fitted", "mean_term", pressure=pressure)
        formula = look.one("fitted", "formula", f"pressure={pressure}")
        state = look.one("fitted", "fit_state", f"pressure={pressure}")
        if terms or formula or state:
            name = look.texts.name("pressure", pressure)
            inner = (_terms(look, pressure, terms), _spread(look, pressure))
            blocks += [Heading(name),
                       said(sentence(state.text) if state else "", formula.text if formula else "", tone="note"),
                       Fold(look.say("protocols.fitted.fold", pressure=name), tuple(b for b in inner if b))]
    return view(*blocks)


def _terms(look: Look, pressure: str, terms: list[Result]) -> Block | None:
    rows = []
    for r in terms:
        error, df = (look.one("fitted", s, r.group) for s in ("mean_term_se", "mean_term_df"))
        rows.append([part(r, "term"), value(r), interval(r), value(error, places=2), value(df, places=1)])
    heads = [Column(look.say(f"protocols.fitted.{h}")) for h in ("term", "estimate", "ci", "se", "df")]
    caption = look.say("protocols.fitted.caption", pressure=look.texts.name("pressure", pressure))
    return table(f"t-terms-{pressure}", caption, heads, rows) if rows else None


def _spread(look: Look, pressure: str) -> Block | None:
    rows = [[look.say("protocols.fitted.sd_of", by=look.texts.name("by", part(r, "by")), term=part(r, "term")),
             with_unit(r)] for r in look.many("fitted", "random_sd_cmh2o", pressure=pressure)]
    for statistic, places in (("random_correlation", 2), ("residual_sd_cmh2o", 1), ("icc", 2), ("log_likelihood", 1),
                              ("people", 0), ("tests", 0), ("rows_without_dose", 0), ("rung", 0)):
        r = look.one("fitted", statistic, f"pressure={pressure}")
        if r is not None:
            shown = r.text if r.text and r.value is None else \
                value(r, places=places) if r.value is not None else people(r)
            rows.append([look.say(f"protocols.fitted.{statistic}"), shown])
    heads = [Column(look.say("words.measure")), Column(look.say("protocols.fitted.value"))]
    caption = look.say("protocols.fitted.spread", pressure=look.texts.name("pressure", pressure))
    return table(f"t-spread-{pressure}", caption, heads, rows) if rows else None


def difference(look: Look) -> SectionView:
    """Differences between protocols, adjusted p first; then the curves they come from."""
    blocks: list[Block | None] = [said(*(_family(look, p) for p in PRESSURES), look.say("protocols.difference.lead"))]
    for pressure in PRESSURES:
        blocks += [_pairs(look, pressure), _pair_table(look, pressure), _unmeasured(look, pressure),
                   _curves(look, pressure), _site_time(look, pressure)]
    return view(*blocks)


def _family(look: Look, pressure: str) -> str:
    size = look.one("difference", "family_size", f"pressure={pressure}")
    if size is None or size.value is None:
        return ""
    return look.say("protocols.difference.family", pressure=look.texts.name("pressure", pressure),
                    n=value(size, places=0), how=size.text.rstrip("."))


def _site_time(look: Look, pressure: str) -> Block | None:
    row, handled = (look.one("difference", s, f"pressure={pressure}") for s in ("site_time", "baseline_handling"))
    how = look.say("protocols.difference.handling", pressure=look.texts.name("pressure", pressure),
                   handling=look.texts.tell(handled.text), why=sentence(handled.note)) if handled else ""
    alone = [part(r, "protocol") for r in look.many("difference", "not_separable", pressure=pressure)]
    tied = look.say("protocols.difference.not_separable", protocols=", ".join(alone)) if alone else ""
    return said(sentence(row.text) if row and row.text else "", tied, how, tone="note")


def _found(look: Look, pressure: str) -> list[Result]:
    return [r for r in look.many("difference", "difference_cmh2o", pressure=pressure) if r.at == 12]


def _pairs(look: Look, pressure: str) -> Block | None:
    found = [r for r in _found(look, pressure) if r.value is not None]
    if not found:
        return None
    half = {r.group: look.one("difference", "difference_50_cmh2o", r.group, 12) for r in found}
    worth = look.one("difference", "smallest_worthwhile_cmh2o", f"pressure={pressure}")
    rungs = []
    for r in found:
        inner = half[r.group] or Result("protocols", "difference", "difference_50_cmh2o")
        rungs.append(Rung(pair(r), r.value, inner.low, inner.high, r.low, r.high,
                          text=f"{value(r)} ({interval(r)})"))
    widest = max(found, key=lambda r: (abs(r.value or 0.0), r.group))
    name = look.texts.name("pressure", pressure)
    claim = look.say("protocols.difference.claim", pressure=name, pair=pair(widest), size=estimate(widest))
    measure = look.say("protocols.difference.measure", pressure=name)
    drawing = charts.ladder(Words(f"pairs-{pressure}", claim, measure), rungs,
                            x_title=look.say("protocols.difference.axis"), rules=[Rule(0, "", True)],
                            band=(-worth.value, worth.value) if worth and worth.value else None)
    rows = [[pair(r), with_unit(r), interval(half[r.group]),
             interval(look.one("difference", "difference_80_cmh2o", r.group, 12)), interval(r)] for r in found]
    heads = [Column(look.say(f"protocols.difference.{h}")) for h in ("pair", "size", "ci50", "ci80", "ci95")]
    return Figure(f"fig-pairs-{pressure}", claim, measure, _reading(look, worth), drawing,
                  table(f"t-pairs-{pressure}", measure, heads, rows).html, look.say("protocols.difference.caution"))


def _reading(look: Look, worth: Result | None) -> str:
    """How to read the figure, and what its band is: the smallest worthwhile difference, or that none is set."""
    lead = look.say("protocols.difference.reading")
    if worth is None or worth.value is None:
        return f"{lead} {look.say('protocols.difference.no_band')}"
    source = sentence(worth.method) if worth.method else ""
    return f"{lead} {look.say('protocols.difference.band', worth=with_unit(worth))} {source}".strip()


def _pair_table(look: Look, pressure: str) -> Block | None:
    rows, groups, is_planned = [], [], bool(registrations(look))
    for r in look.many("difference", "difference_cmh2o", pressure=pressure):
        groups.append(look.say("protocols.difference.week_head", week=number(r.at or 0)))
        other = {s: look.one("difference", s, r.group, r.at)
                 for s in ("difference_adjusted_cmh2o", "p_holm", "p_value", "df", "hedges_g", "difference_per_sdc95")}
        rows.append([pair(r), *([standing_of(look, r)] if is_planned else []), ranged(r),
                     interval(other["difference_adjusted_cmh2o"]), chance(other["p_holm"]), chance(other["p_value"]),
                     value(other["df"], places=1),
                     ranged(other["hedges_g"]), value(other["difference_per_sdc95"], places=2)])
    heads = [Column(look.say(f"protocols.difference.{h}"))
             for h in ("pair", "ci95", "adjusted", "holm", "p", "df", "g", "per_sdc")]
    if is_planned:
        heads.insert(1, Column(look.say("protocols.plan.when"), False))
    caption = look.say("protocols.difference.caption", pressure=look.texts.name("pressure", pressure))
    return table(f"t-differences-{pressure}", caption, heads, rows, groups) if rows else None


UNMEASURED = ("partial_r2_pct", "robustness_value_pct", "robustness_value_95_pct")


def _unmeasured(look: Look, pressure: str) -> Block | None:
    """What something unmeasured would have to account for, to bring each difference at 12 weeks to nothing."""
    rows = []
    for r in _found(look, pressure):
        shares = [look.one("difference", s, r.group, 12) for s in UNMEASURED]
        if any(shares):
            rows.append([pair(r), *(value(s, places=1) for s in shares)])
    heads = [Column(look.say(f"protocols.difference.{h}")) for h in ("pair", *UNMEASURED)]
    caption = look.say("protocols.difference.unmeasured", pressure=look.texts.name("pressure", pressure))
    return table(f"t-unmeasured-{pressure}", caption, heads, rows) if rows else None


def _curves(look: Look, pressure: str) -> Block | None:
    found = [r for r in look.many("difference", "protocol_gain_curve_cmh2o", pressure=pressure)
             if r.at is not None and r.value is not None]
    names = list(dict.fromkeys(part(r, "protocol") for r in found))
    ends = [look.one("difference", "protocol_gain_cmh2o", f"pressure={pressure};protocol={n}", 12) for n in names]
    if len(names) < 2 or len(names) > 3:
        return None
    name = look.texts.name("pressure", pressure)
    claim = look.say("protocols.difference.curve_claim", pressure=name, gains=", ".join(
        f"{part(r, 'protocol')} {with_unit(r)}" for r in ends if r is not None and r.value is not None))
    measure = look.say("protocols.difference.curve_measure", pressure=name)
    spots = [Spot(r.at or 0, r.value, r.low, r.high, f"{part(r, 'protocol')}, {week(r.at)}: {estimate(r)}",
                  part(r, "protocol")) for r in found]
    drawing = charts.curve(Words(f"protocols-{pressure}", claim, measure), spots, unit=look.say("quarter.gains.unit"),
                           x_title=look.say("quarter.gains.axis"), rules=[Rule(0, "", True)])
    rows = [[part(r, "protocol"), number(r.at or 0), with_unit(r), interval(r)] for r in found]
    heads = [Column(look.say("words.protocol")),
             *(Column(look.say(f"quarter.gains.{h}")) for h in ("week", "gain", "ci"))]
    return Figure(f"fig-protocols-{pressure}", claim, measure, look.say("quarter.gains.reading"), drawing,
                  table(f"t-protocols-{pressure}", measure, heads, rows).html, look.say("protocols.difference.caution"))


DOSE_ROWS = ("dose_per_10_points_cmh2o", "effort_per_10_points_cmh2o", "dose_if_unlogged_none_cmh2o",
             "dose_if_unlogged_done_cmh2o", "lead_test_cmh2o", "lead_test_p", "lead_test_power",
             "between_within_equal_p", "partial_r2_pct", "robustness_value_pct", "robustness_value_95_pct")


def dose_response(look: Look) -> SectionView:
    """Dose three ways, effort, what unlogged weeks could change, and the test whether later dose goes with gain."""
    heads = [r for r in look.many("dose_response", "headline") if r.text]
    lines = [look.say("protocols.dose_response.headline", pressure=look.texts.name("pressure", part(r, "pressure")),
                      verdict=r.text, why=sentence(r.note) if r.note else "") for r in heads]
    rows, groups = [], []
    for statistic in DOSE_ROWS:
        for r in look.many("dose_response", statistic):
            kinds = [k for k in (part(r, "form"), part(r, "effort")) if k]
            rows.append([look.say(f"protocols.dose_response.{statistic}") + "".join(
                f", {look.texts.name('dose_form', k)}" for k in kinds),
                chance(r) if statistic.endswith("_p") else ranged(r)])
            groups.append(look.texts.name("pressure", part(r, "pressure")))
    order = sorted(range(len(rows)), key=lambda i: (groups[i] != "MIP", i))
    listed = table("t-dose-response", look.say("protocols.dose_response.caption"),
                   [Column(look.say("words.measure")), Column(look.say("protocols.dose_response.value"))],
                   [rows[i] for i in order], [groups[i] for i in order]) if rows else None
    return view(said(*lines, tone="list"), *(_partial(look, p) for p in PRESSURES), listed)


def _partial(look: Look, pressure: str) -> Block | None:
    found = [r for r in look.many("dose_response", "partial_gain_cmh2o", pressure=pressure)
             if r.at is not None and r.value is not None]
    if len(found) < 2:
        return None
    name = look.texts.name("pressure", pressure)
    claim = look.say("protocols.dose_response.claim", pressure=name, low=number(found[0].at or 0),
                     first=with_unit(found[0]), high=number(found[-1].at or 0), last=with_unit(found[-1]))
    measure = look.say("protocols.dose_response.measure", pressure=name)
    spots = [Spot(r.at or 0, r.value, r.low, r.high, f"{number(r.at or 0)} %: {estimate(r)}") for r in found]
    drawing = charts.curve(Words(f"dose-{pressure}", claim, measure), spots,
                           unit=look.say("protocols.dose_response.unit"),
                           x_title=look.say("protocols.dose_response.axis"))
    deciles = [value(r) for r in look.many("dose_response", "adherence_decile_pct", pressure=pressure)]
    where = look.say("protocols.dose_response.deciles", deciles=", ".join(deciles)) if deciles else ""
    rows = [[number(r.at or 0), with_unit(r), interval(r)] for r in found]
    heads = [Column(look.say(f"protocols.dose_response.{h}")) for h in ("share", "gain", "ci")]
    reading = f"{look.say('quarter.gains.reading')} {where}".strip()
    return Figure(f"fig-dose-{pressure}", claim, measure, reading, drawing,
                  table(f"t-dose-{pressure}", measure, heads, rows).html, look.say("protocols.dose_response.caution"))


def believable(look: Look) -> SectionView:
    """Residuals against the normal, observed against fitted, spread by level: for each pressure, folded."""
    folds: list[Block] = []
    for pressure in PRESSURES:
        blocks = tuple(b for b in (_quantiles(look, pressure), side(_deciles(look, pressure), _levels(look, pressure)),
                                   variance(look, pressure)) if b is not None)
        if blocks:
            name = look.texts.name("pressure", pressure)
            folds.append(Fold(look.say("protocols.believable.fold", pressure=name), blocks))
    return view(said(look.say("protocols.believable.lead")), *folds)


def _quantiles(look: Look, pressure: str) -> Block | None:
    found = [r for r in look.many("believable", "residual_quantile_cmh2o", pressure=pressure)
             if r.at is not None and r.value is not None]
    spread = look.one("fitted", "residual_sd_cmh2o", f"pressure={pressure}")
    if len(found) < 5 or spread is None or not spread.value:
        return None
    name = look.texts.name("pressure", pressure)
    measured, normal = look.say("protocols.believable.measured"), look.say("protocols.believable.normal")
    spots = [Spot(r.at or 0, r.value, tip=f"{number(r.at or 0, 1)}: {with_unit(r)}", series=measured) for r in found]
    spots += [Spot(r.at or 0, (r.at or 0) * spread.value, series=normal) for r in (found[0], found[-1])]
    claim = look.say("protocols.believable.claim", pressure=name, low=with_unit(found[0]), high=with_unit(found[-1]))
    measure = look.say("protocols.believable.measure", pressure=name)
    drawing = charts.curve(Words(f"quantiles-{pressure}", claim, measure), spots,
                           unit=look.say("protocols.believable.unit"), x_title=look.say("protocols.believable.axis"))
    rows = [[number(r.at or 0, 2), with_unit(r)] for r in found]
    heads = [Column(look.say("protocols.believable.axis")), Column(look.say("protocols.believable.unit"))]
    return Figure(f"fig-quantiles-{pressure}", claim, measure, look.say("protocols.believable.reading"), drawing,
                  table(f"t-quantiles-{pressure}", measure, heads, rows).html)


def _deciles(look: Look, pressure: str) -> Block | None:
    rows = []
    for seen in look.many("believable", "observed_cmh2o", pressure=pressure):
        due = look.one("believable", "fitted_cmh2o", seen.group, seen.at)
        rows.append([number(seen.at or 0), with_unit(seen), with_unit(due), people(seen)])
    heads = [Column(look.say(f"protocols.believable.{h}")) for h in ("decile", "observed", "fitted", "tests")]
    caption = look.say("protocols.believable.deciles", pressure=look.texts.name("pressure", pressure))
    return table(f"t-deciles-{pressure}", caption, heads, rows) if rows else None


def _levels(look: Look, pressure: str) -> Block | None:
    rows = [[look.say("protocols.believable.third", n=number(r.at or 0)), with_unit(r)]
            for r in look.many("believable", "residual_sd_by_level_cmh2o", pressure=pressure)]
    heads = [Column(look.say("protocols.believable.level")), Column(look.say("protocols.fitted.residual_sd_cmh2o"))]
    caption = look.say("protocols.believable.levels", pressure=look.texts.name("pressure", pressure))
    return table(f"t-levels-{pressure}", caption, heads, rows) if rows else None
