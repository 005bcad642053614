"""Quarter page, third part: how much pressure changed, how many by more than error, what goes with it."""

from __future__ import annotations

from pipeline.report import charts
from pipeline.report.chart_style import Rule, Rung, Spot, Words
from pipeline.report.look import Look, part
from pipeline.report.tables import Column, table, with_bar
from pipeline.report.views import Block, Figure, Group, Heading, SectionView, said, view
from pipeline.report.words import (
    behind,
    both,
    estimate,
    interval,
    is_hidden,
    number,
    of,
    people,
    reach,
    sentence,
    value,
    week,
    with_unit,
)
from pipeline.results import Result

PRESSURES = ("mip", "mep")
LEARNING = ("none", "half", "full")


def gains(look: Look) -> SectionView:
    """Model first, raw beneath; learning and the sham arms beside them."""
    return view(said(*(_gain_sentence(look, p) for p in PRESSURES), look.say("quarter.gains.uncontrolled")),
                _curves(look), *(_groups(look, p) for p in PRESSURES), _before_after(look), _learning(look),
                _sham(look))


def _gain_sentence(look: Look, pressure: str) -> str:
    gain = look.one("gains", "gain_cmh2o", f"pressure={pressure}", 12)
    if gain is None:
        return ""
    name = look.texts.name("pressure", pressure)
    if gain.value is None:
        return look.say("quarter.gains.not_given", pressure=name, why=gain.text or "not estimated")
    return look.say("quarter.gains.lead", pressure=name, gain=estimate(gain), n=people(gain))


def _curves(look: Look) -> Block | None:
    found = [r for p in PRESSURES for r in look.many("gains", "gain_curve_cmh2o", pressure=p) if r.at is not None]
    if len([r for r in found if r.value is not None]) < 2:
        return None
    name = {p: look.texts.name("pressure", p) for p in PRESSURES}
    spots = [Spot(r.at or 0, r.value, r.low, r.high,
                  f"{name[part(r, 'pressure')]}, {week(r.at)}: {estimate(r)}", name[part(r, "pressure")])
             for r in found]
    ends = [r for p in PRESSURES if (r := look.one("gains", "gain_cmh2o", f"pressure={p}", 12)) and r.value is not None]
    claim = look.say("quarter.gains.claim", gains=both(
        *(f"{name[part(r, 'pressure')]} {_signed(r)}" for r in ends))) if ends else look.say("quarter.gains.claim_none")
    measure = look.say("quarter.gains.measure")
    drawing = charts.curve(Words("gain-curve", claim, measure), spots, unit=look.say("quarter.gains.unit"),
                           x_title=look.say("quarter.gains.axis"), rules=[Rule(0, "", True)])
    rows = [[name[part(r, "pressure")], number(r.at or 0), with_unit(r), interval(r)] for r in found]
    heads = [Column(look.say(f"quarter.gains.{h}"), h != "pressure") for h in ("pressure", "week", "gain", "ci")]
    return Figure("fig-gain-curve", claim, measure, look.say("quarter.gains.reading"), drawing,
                  table("t-gain-curve", look.say("quarter.gains.curve"), heads, rows).html, look.say(
                      "quarter.gains.caution" if look.many("gains", "learning_cmh2o") else "sums.gains.caution"))


def _signed(result: Result) -> str:
    """A change with its sign in words' place: "+11.2 cmH2O"."""
    return ("+" if (result.value or 0) > 0 else "") + with_unit(result)


def group_name(look: Look, result: Result) -> str:
    """The reader's name of a subgroup within a pressure: "first test ever at baseline"."""
    parts = [piece.partition("=")[::2] for piece in result.group.split(";")]
    return ", ".join(look.texts.name(kind, code) for kind, code in parts if kind != "pressure")


def _groups(look: Look, pressure: str) -> Block | None:
    model = look.one("gains", "gain_cmh2o", f"pressure={pressure}", 12)
    found = [*([model] if model else []),
             *(r for r in look.many("gains", "raw_gain_cmh2o", pressure=pressure) if r.at == 12)]
    if not found:
        return None
    rungs, rows, hidden = [], [], []
    for r in found:
        middle = look.one("gains", "middle_80_cmh2o", r.group, 12) if r is not model else None
        label = group_name(look, r) if ";" in r.group else look.say(
            "quarter.gains.adjusted" if r is model else "quarter.gains.raw")
        if is_hidden(r):
            hidden.append(label)
            continue
        text = f"{value(r)} ({interval(r)}), n {people(r)}" if r.value is not None else value(r)
        rungs.append(Rung(label, r.value, r.low, r.high, middle.low if middle else None,
                          middle.high if middle else None, text=text, is_main=r is model))
        rows.append([label, with_unit(r), interval(r), interval(middle, "no figure"), people(r)])
    left_out = look.say("quarter.gains.groups_hidden", groups=", ".join(hidden)) if hidden else ""
    if len(rungs) < 2:
        return said(left_out, tone="note")
    name, claim = look.texts.name("pressure", pressure), _groups_claim(look, pressure)
    measure = look.say("quarter.gains.groups_measure", pressure=name)
    drawing = charts.ladder(Words(f"gain-groups-{pressure}", claim, measure), rungs,
                            x_title=look.say("quarter.gains.unit"), rules=[Rule(0, "", True)])
    heads = [Column(look.say(f"quarter.gains.{h}")) for h in ("group", "gain", "ci", "middle", "n")]
    return Figure(f"fig-gain-groups-{pressure}", claim, measure, look.say("quarter.gains.groups_reading"), drawing,
                  table(f"t-gain-groups-{pressure}", measure, heads, rows).html,
                  f"{look.say('quarter.gains.groups_caution')} {left_out}".strip())


def _groups_claim(look: Look, pressure: str) -> str:
    """Model beside measurement: two ways to the same 12-week change."""
    model, raw = (look.one("gains", s, f"pressure={pressure}", 12) for s in ("gain_cmh2o", "raw_gain_cmh2o"))
    if model is None or model.value is None:
        return look.say("quarter.gains.claim_none")
    if raw is None or raw.value is None:
        return look.say("quarter.gains.groups_claim_model", pressure=look.texts.name("pressure", pressure),
                        model=value(model))
    return look.say("quarter.gains.groups_claim", pressure=look.texts.name("pressure", pressure), model=value(model),
                    raw=value(raw))


def _before_after(look: Look) -> Block | None:
    wanted = ("baseline_mean_cmh2o", "baseline_sd_cmh2o", "at12_mean_cmh2o", "change_sd_cmh2o", "percent_change",
              "pct_predicted_before", "pct_predicted_after", "change_per_baseline_sd", "change_per_change_sd",
              "sem_cmh2o", "sdc95_cmh2o", "sem_repeats_cmh2o", "sdc95_repeats_cmh2o", "repeat_rise_cmh2o")
    rows = []
    for statistic in wanted:
        cells = {p: (look.one("gains", statistic, f"pressure={p}", 12) or look.one("gains", statistic, f"pressure={p}"))
                 for p in PRESSURES}
        if any(cells.values()):
            how = next((r.text for r in cells.values() if r and r.text and r.value is not None), "")
            rows.append([look.say(f"measures.{statistic}"), *(_with_range(cells[p]) for p in PRESSURES),
                         how or look.texts.get(f"measures.{statistic}_how", "as named")])
    heads = [Column(look.say("words.measure")), *(Column(look.texts.name("pressure", p)) for p in PRESSURES),
             Column(look.say("quarter.gains.how"), False)]
    return table("t-before-after", look.say("quarter.gains.before_after"), heads, rows) if rows else None


def _with_range(result: Result | None) -> str:
    if result is None or result.value is None or result.low is None:
        return with_unit(result, "no figure")
    return f"{with_unit(result)} ({interval(result)})"


def _learning(look: Look) -> Block | None:
    rows = []
    for pressure in PRESSURES:
        for size in LEARNING:
            left = look.one("gains", "gain_less_learning_cmh2o", f"pressure={pressure};learning={size}", 12)
            part_of = look.one("gains", "learning_cmh2o", f"pressure={pressure};learning={size}", 12)
            if left or part_of:
                rows.append([f"{look.texts.name('pressure', pressure)}, {look.texts.name('learning', size)}",
                             with_unit(part_of, "no figure"), _with_range(left)])
    heads = [Column(look.say(f"quarter.gains.{h}")) for h in ("learning_row", "learning_size", "learning_left")]
    if not rows:
        return None
    return table("t-learning", look.say("quarter.gains.learning"), heads, rows)


def _rise(low: float, high: float) -> str:
    """The range of the arms held; one figure where a single arm is."""
    return number(low, 1) if low == high else reach(low, high, 1)


def _sham(look: Look) -> Block | None:
    """Sham-arm rises where one is held, and below them the populations for which none is."""
    found = look.many("gains", "sham_arm_rise_cmh2o")
    rows = [[look.texts.name("pressure", part(r, "pressure")), look.texts.name("condition_group", part(
        r, "condition_group")), f"{_rise(r.low, r.high)} cmH2O", _source(look, r)]
        for r in found if r.low is not None and r.high is not None]
    heads = [Column(look.say(f"quarter.gains.{h}"), False) for h in ("pressure", "population", "sham_rise", "source")]
    lines = []
    for pressure in PRESSURES:
        without = [look.texts.name("condition_group", part(r, "condition_group")) for r in found
                   if r.low is None and part(r, "pressure") == pressure]
        if without:
            lines.append(look.say("quarter.gains.sham_none", pressure=look.texts.name("pressure", pressure),
                                  populations=", ".join(without)))
    held = table("t-sham", look.say("quarter.gains.sham"), heads, rows) if rows else None
    return Group(tuple(b for b in (held, said(*lines, tone="note")) if b is not None)) if rows or lines else None


def _source(look: Look, result: Result) -> str:
    if part(result, "condition_group") == "any":
        return look.say("quarter.gains.sham_all")
    return result.text or "not stated"


def past_error(look: Look) -> SectionView:
    """Continuous picture first, then zones with Wilson intervals, then what error and learning alone would give."""
    blocks: list[Block | None] = [said(look.say("quarter.past_error.lead"))]
    for pressure in PRESSURES:
        zones = look.many("past_error", "zone", pressure=pressure)
        if zones:
            blocks += [Heading(look.texts.name("pressure", pressure)), _dots(look, pressure),
                       _zones(look, pressure, zones)]
    return view(*blocks, _chance(look))


def _dots(look: Look, pressure: str) -> Block | None:
    found = [r for r in look.many("past_error", "gain_quantile_cmh2o", pressure=pressure) if r.value is not None]
    sdc = look.one("gains", "sdc95_cmh2o", f"pressure={pressure}")
    if len(found) < 5 or sdc is None or not sdc.value:
        return None
    name = look.texts.name("pressure", pressure)
    up = look.one("past_error", "zone", f"pressure={pressure};zone=up", 12)
    claim = look.say("quarter.past_error.claim_hidden", pressure=name) if up is None or up.value is None else \
        look.say("quarter.past_error.claim", pressure=name, share=of(up))
    each = look.say("quarter.past_error.each", dots=number(len(found)))
    measure = look.say("quarter.past_error.measure", pressure=name)
    drawing = charts.dots(Words(f"dots-{pressure}", claim, measure), [r.value for r in found if r.value is not None],
                          x_title=look.say("quarter.past_error.axis", pressure=name), band=(-sdc.value, sdc.value),
                          share_each=each)
    rows = [[f"{number(100 * (r.at or 0), 1)} %", with_unit(r)] for r in found]
    heads = [Column(look.say("quarter.past_error.below")), Column(look.say("quarter.past_error.gain"))]
    numbers = table(f"t-dots-{pressure}", look.say("quarter.past_error.quantiles", pressure=name), heads, rows)
    return Figure(f"fig-dots-{pressure}", claim, measure, f"{each} {look.say('quarter.past_error.reading')}", drawing,
                  numbers.html, look.say("quarter.past_error.caution"))


def _zones(look: Look, pressure: str, zones: list[Result]) -> Block:
    rows = [[look.texts.name("zone", part(r, "zone")),
             with_bar(of(r), None if r.value is None else r.value / 100), interval(r)] for r in zones]
    heads = [Column(look.say("quarter.past_error.zone")), Column(look.say("words.people")),
             Column(look.say("quarter.past_error.wilson"))]
    return table(f"t-zones-{pressure}", look.say("quarter.past_error.zones", pressure=look.texts.name(
        "pressure", pressure)), heads, rows)


def _chance(look: Look) -> Block | None:
    rows = []
    for pressure in PRESSURES:
        for seen, alone, words in (("expected_past_sdc_pct", "by_chance_pct", "past_sdc"),
                                   ("expected_past_target_pct", "target_by_chance_pct", "past_target")):
            share = look.one("past_error", seen, f"pressure={pressure}", 12)
            chance = [look.one("past_error", alone, f"pressure={pressure};learning={size}", 12) for size in LEARNING]
            if share or any(chance):
                rows.append([f"{look.texts.name('pressure', pressure)}, {look.say(f'quarter.past_error.{words}')}",
                             _with_range(share), *(with_unit(c, "no figure") for c in chance)])
    heads = [Column(look.say(f"quarter.past_error.{h}"))
             for h in ("threshold", "expected", "chance_none", "chance_half", "chance_full")]
    return table("t-chance", look.say("quarter.past_error.chance"), heads, rows) if rows else None


def model(look: Look) -> SectionView:
    """Sentences on dose and effort, or why the cohort cannot say."""
    lines = []
    for pressure in PRESSURES:
        for question in ("dose", "effort"):
            per = look.one("model", f"{question}_per_10_points_cmh2o", f"pressure={pressure}")
            head = look.one("model", "headline", f"pressure={pressure};question={question}")
            name = look.texts.name("pressure", pressure)
            if per and per.value is not None:
                lines.append(look.say(f"quarter.model.{question}", pressure=name, change=estimate(per)))
            elif head or per:
                why = (head.note or head.text) if head else (per.text if per else "")
                lines.append(look.say("quarter.model.silent", pressure=name, question=look.say(f"words.{question}"),
                                      why=sentence(why or "not estimated")))
    return view(said(*lines, tone="list"), said(look.say("quarter.model.caution"), tone="note"), _varying(look))


def _varying(look: Look) -> Block | None:
    """Coefficients of what varies from test to test, with interval, df and n."""
    rows = []
    for r in look.many("model", "varying_cmh2o"):
        df = look.one("model", "varying_df", r.group)
        rows.append([f"{look.texts.name('pressure', part(r, 'pressure'))}: {r.note.partition('; n ')[0]}", with_unit(r),
                     interval(r) if r.value is not None else "no figure", value(df, "no figure", places=0), people(r),
                     behind(r)])
    heads = [Column(look.say(f"quarter.model.{h}")) for h in ("per", "change", "ci", "df", "tests", "people")]
    return table("t-varying", look.say("quarter.model.varying"), heads, rows) if rows else None
