"""How much the pressures changed: model first, raw means below, effect sizes with denominators, learning, sham."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.analyse.common import FEWEST_FOR_TENTHS, Frames, Section, floats, group, labelled, mean_interval
from pipeline.analyse.effects import (
    OWN_REPEATS,
    learned_by_12_weeks,
    measurement_error,
    put,
    reads_24_weeks,
    twelve_week_gains,
)
from pipeline.analyse.fits import LEARNING, Fitted, Models, PressureModels
from pipeline.reference.sham_arms import SHAM_ARMS, sham_range
from pipeline.results import ResultSet
from pipeline.settings import Settings
from pipeline.stats import effect_sizes
from pipeline.stats.reliability import SDC95_FORMULA

CURVE_WEEKS = tuple(float(w) for w in range(0, 25, 2))
CHI_SQUARED = "root of half the mean squared difference of pairs, interval by chi-squared"
SUBGROUPS = ("protocol", "first_ever", "condition_group", "sex")


def modelled(section: Section, found: PressureModels, where: str) -> None:
    """Add the gains by the model, or that the cohort cannot tell them."""
    primary = found.working("primary")
    if primary is not None and found.gate is not None and found.gate.answers["gain"].is_open:
        _model_gains(section, primary, where)
    else:
        section.add("gain_cmh2o", where, at=12.0, unit="cmH2O",
                    text="this cohort cannot answer it with a model; see the raw gains")


def _model_gains(section: Section, primary: Fitted, where: str) -> None:
    look = primary.look
    assert look is not None
    late = reads_24_weeks(primary)
    protocols = {"protocol_time", "protocol_slope"} & set(primary.built.recipe.terms)
    for week in (12.0, 24.0):
        if week > 12.0 and not late:
            section.add("gain_cmh2o", where, at=week, unit="cmH2O", text="too few tests after week 20")
            continue
        put(section, "gain_cmh2o", where, primary.read(look.gain(week)), at=week, n=primary.people)
        for protocol in sorted(look.protocols) if protocols else []:
            put(section, "gain_cmh2o", f"{where};protocol={protocol}", primary.read(look.gain(week, protocol)),
                at=week, n=primary.who.levels("protocol")[protocol])
    for week in CURVE_WEEKS:
        if week == 0.0:
            section.add("gain_curve_cmh2o", where, at=week, value=0.0, low=0.0, high=0.0, unit="cmH2O",
                        n=primary.people)
        elif week <= 12.0 or late:
            put(section, "gain_curve_cmh2o", where, primary.read(look.gain(week)), at=week, n=primary.people)


def _raw(section: Section, people: pl.DataFrame, where: str) -> None:
    """Mean raw gain and the middle 80 % of persons, over all and by subgroup."""
    parts: list[tuple[str, pl.DataFrame]] = [(where, people)]
    tidy = people.with_columns(
        pl.when(pl.col("first_ever")).then(pl.lit("yes")).otherwise(pl.lit("no")).alias("first_ever")
    ).with_columns(labelled(c).alias(c) for c in SUBGROUPS)
    for column in SUBGROUPS:
        for label in sorted(tidy[column].unique().to_list()):
            parts.append((f"{where};{column}={label}", tidy.filter(pl.col(column) == label)))
    rows = {}
    for name, part in parts:
        values = part["gain12_cmh2o"]
        rows[name] = section.mean("raw_gain_cmh2o", name, values, "cmH2O", at=12.0)
        seen = floats(values)
        if seen.size >= FEWEST_FOR_TENTHS:
            low, middle, high = (float(q) for q in np.quantile(seen, (0.1, 0.5, 0.9)))
            section.add("middle_80_cmh2o", name, at=12.0, n=seen.size, value=middle, low=low, high=high, unit="cmH2O",
                        method="median, 10th and 90th percentile of persons")
        else:
            section.add("middle_80_cmh2o", name, at=12.0, n=seen.size, unit="cmH2O",
                        text="too few people to show the spread of persons")
    for column in SUBGROUPS:
        section.sum_of(rows[where], [r for n, r in rows.items() if n.startswith(f"{where};{column}=")])


def _standardised(section: Section, people: pl.DataFrame, where: str) -> None:
    """Means and SDs of those with both tests, and the change per baseline SD and per change SD."""
    before, after = people["baseline_cmh2o"].to_numpy(), people["at12_cmh2o"].to_numpy()
    change, n = after - before, len(before)
    pairs = {"at": 12.0, "n": n, "unit": "cmH2O", "method": "people with a baseline and a 12-week test"}
    section.add("baseline_mean_cmh2o", where, value=float(before.mean()), **pairs)
    section.add("at12_mean_cmh2o", where, value=float(after.mean()), **pairs)
    sds = {"baseline_sd_cmh2o": before, "change_sd_cmh2o": change}
    spread = {name: float(values.std(ddof=1)) for name, values in sds.items()}
    for name, value in spread.items():
        section.add(name, where, value=value, **pairs)
    if min(spread.values()) > 0:
        r = float(np.corrcoef(before, after)[0, 1])
        section.add("correlation_before_after", where, at=12.0, n=n, value=r, unit="correlation")
        base = effect_sizes.change_per_baseline_sd(float(before.mean()), float(after.mean()),
                                                   spread["baseline_sd_cmh2o"], r, n)  # fmt: skip
        own = effect_sizes.change_per_change_sd(float(change.mean()), spread["change_sd_cmh2o"], n)
        for name, found in (("change_per_baseline_sd", base), ("change_per_change_sd", own)):
            section.add(name, where, at=12.0, n=n, value=found.value, low=found.low, high=found.high, unit="SD",
                        text=f"divided by the {found.denominator}",
                        method=f"with the small-sample factor J; {found.interval}")
    percent = effect_sizes.percent_change(float(before.mean()), float(after.mean()))
    section.add("percent_change", where, at=12.0, n=n, value=percent, unit="%",
                method="change of the mean in percent of the mean before; not the mean of percentages")


def _predicted(section: Section, people: pl.DataFrame, where: str) -> None:
    """Percent of predicted before and after, of those whose equation covers them."""
    after = 100.0 * pl.col("at12_cmh2o") / (100.0 * pl.col("baseline_cmh2o") / pl.col("baseline_pct_predicted"))
    seen = people.filter(pl.col("baseline_pct_predicted") > 0).with_columns(after.alias("after_pct"))
    names = ", ".join(sorted(seen["equation"].drop_nulls().unique().to_list()))
    for name, column in (("before", "baseline_pct_predicted"), ("after", "after_pct")):
        section.median(f"pct_predicted_{name}", where, seen[column], "%", at=12.0, note=names, of=people.height)


def _learning(section: Section, found: PressureModels, people: pl.DataFrame, frames: Frames, where: str) -> None:
    """The gain less none, half and all of a published learning curve, taken off first-ever baselines."""
    new = people.filter(pl.col("first_ever")).height
    section.share("first_ever_baseline", where, new, people.height)
    if found.pressure != "mip":
        section.add("gain_less_learning_cmh2o", f"{where};learning=full", at=12.0, unit="cmH2O",
                    text="no learning curve is held for this pressure")
        return
    taken = learned_by_12_weeks(frames, found.pressure)
    for name, share in {"none": 0.0, **LEARNING}.items():
        at = f"{where};learning={name}"
        mean = float(share * taken.sum() / max(people.height, 1))
        section.add("learning_cmh2o", at, at=12.0, n=people.height, value=mean, unit="cmH2O",
                    method="fixed curve through Larson 1993 (Chest 104:448), mean over all with a 12-week test")
        fitted = found.working("primary" if name == "none" else f"learning_{name}")
        if fitted is not None and fitted.look is not None:
            put(section, "gain_less_learning_cmh2o", at, fitted.read(fitted.look.gain(12.0)), at=12.0, n=fitted.people)


def _sham(section: Section, pressure: str, people: pl.DataFrame, where: str) -> None:
    """The range of the sham arms held for each population that is here, and over all held."""
    for condition in sorted(people.select(labelled("condition_group"))["condition_group"].unique().to_list()):
        held = sham_range(pressure, condition)
        at = f"{where};condition_group={condition}"
        if held is None:
            section.add("sham_arm_rise_cmh2o", at, unit="cmH2O", text="no sham arm is held for this population")
            continue
        sources = "; ".join(dict.fromkeys(arm.citation for arm in held.arms))
        section.add("sham_arm_rise_cmh2o", at, low=held.low_cmh2o, high=held.high_cmh2o, unit="cmH2O", text=sources,
                    method="smallest and largest mean rise of published sham arms")
    arms = [arm for arm in SHAM_ARMS if arm.pressure == pressure]
    rises = [arm.rise_cmh2o for arm in arms]
    section.add("sham_arm_rise_cmh2o", f"{where};condition_group=any", low=min(rises), high=max(rises), unit="cmH2O",
                text=", ".join(sorted({arm.condition_group for arm in arms})),
                method="smallest and largest mean rise of published sham arms, every population held")


def _error(section: Section, found: PressureModels, settings: Settings, where: str) -> None:
    error = measurement_error(found, settings)
    section.add("sem_cmh2o", where, value=error.sem, low=error.low, high=error.high, unit="cmH2O", text=error.source)
    low, high = (None if v is None else v * error.sdc95 / error.sem for v in (error.low, error.high))
    section.add("sdc95_cmh2o", where, value=error.sdc95, low=low, high=high, unit="cmH2O",
                text=f"{SDC95_FORMULA}; SEM from {error.source}")
    if found.repeats is None:
        section.add("sem_repeats_cmh2o", where, unit="cmH2O", text="too few people with two tests a few days apart")
        return
    own = found.repeats.error
    many = {"n": found.repeats.people, "unit": "cmH2O", "method": CHI_SQUARED}
    section.add("sem_repeats_cmh2o", where, value=own.sem, low=own.low, high=own.high, text=OWN_REPEATS, **many)
    section.add("sdc95_repeats_cmh2o", where, value=own.sdc95, low=own.sdc95_low, high=own.sdc95_high,
                text=f"{own.formula}; SEM from {OWN_REPEATS}", **many)
    section.add("repeat_rise_cmh2o", where, value=found.repeats.rise, n=found.repeats.people, unit="cmH2O",
                text="mean of the second test less the first: what is left of learning and training in the error")


def gains(frames: Frames, settings: Settings, models: Models) -> ResultSet:
    """Section "gains"."""
    section = Section("quarter", "gains")
    for pressure, found in models.items():
        where = group(pressure=pressure)
        people = twelve_week_gains(frames, pressure)
        modelled(section, found, where)
        if people.is_empty():
            section.state("No one has both a baseline and a test in the 12-week window.", group=where)
            continue
        _raw(section, people, where)
        if people.height > 2:
            _standardised(section, people, where)
        _predicted(section, people, where)
        _error(section, found, settings, where)
        _learning(section, found, people, frames, where)
        _sham(section, pressure, people, where)
    return section.done()


def mean_probability(section: Section, statistic: str, where: str, past: np.ndarray) -> None:
    """Add the mean over people of a probability, in %."""
    low, high = mean_interval(past)
    cut = (None if low is None else 100 * max(low, 0.0), None if high is None else 100 * min(high, 1.0))
    section.add(statistic, where, at=12.0, n=past.size, value=100 * float(past.mean()), low=cut[0], high=cut[1],
                unit="%", method="mean over people of the probability given all their tests; interval over people, "
                                 "the model held fixed")  # fmt: skip
