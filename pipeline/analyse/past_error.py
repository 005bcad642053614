"""How many people changed by more than measurement error, beside the share that error and learning alone would give."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.analyse.common import FEWEST_FOR_TENTHS, Array, Frames, Section, group
from pipeline.analyse.effects import (
    MeasurementError,
    TrueGains,
    learned_by_12_weeks,
    measurement_error,
    true_gains,
    twelve_week_gains,
)
from pipeline.analyse.fits import LEARNING, Models, PressureModels
from pipeline.analyse.gains import mean_probability
from pipeline.results import Partition, ResultSet
from pipeline.settings import Settings
from pipeline.stats.proportions import share_past_by_chance

ZONES = ("up", "within", "down")
DOTS, MORE_DOTS, PEOPLE_FOR_MORE = 20, 50, 100


def _zones(section: Section, people: pl.DataFrame, sdc95: float, where: str) -> None:
    """Up, within and down of the measured change, as shares with Wilson intervals."""
    gain = pl.col("gain12_cmh2o")
    zone = pl.when(gain > sdc95).then(pl.lit("up")).when(gain < -sdc95).then(pl.lit("down")).otherwise(pl.lit("within"))
    counts = people.select(zone.alias("zone"))["zone"].to_list()
    parts = [section.share("zone", f"{where};zone={z}", counts.count(z), people.height, at=12.0) for z in ZONES]
    section.sums.append(Partition(f"quarter.gains.raw_gain_cmh2o[{where}]@12", tuple(p.key for p in parts)))


def by_chance_pct(threshold: float, error: MeasurementError, learned: Array, people: int, share: float) -> float:
    """Share (%) past a threshold had nobody trained: error, and `share` of the learning of first-ever people."""
    still = share_past_by_chance(threshold, error.sem)
    naive = [share_past_by_chance(threshold, error.sem, learning_cmh2o=share * float(rise)) for rise in learned]
    return 100.0 * (sum(naive) + (people - len(naive)) * still) / people


def _floor(
    section: Section, statistic: str, threshold: float, error: MeasurementError, frames: Frames, pressure: str, n: int
) -> None:
    learned = learned_by_12_weeks(frames, pressure)
    for name, share in {"none": 0.0, **LEARNING}.items():
        where = f"pressure={pressure};learning={name}"
        if share and pressure != "mip":
            section.add(statistic, where, at=12.0, unit="%", text="no learning curve is held for this pressure")
            continue
        section.add(statistic, where, at=12.0, unit="%", value=by_chance_pct(threshold, error, learned, n, share), n=n,
                    method="normal error of two tests, and that share of the learning of first-ever baselines")


def _dots(section: Section, true: TrueGains, where: str) -> None:
    """Quantiles of the true gains, to be drawn as dots that can be counted: 20, or 50 from 100 people on."""
    n = len(true.keys)
    if n < FEWEST_FOR_TENTHS:
        section.add("gain_quantile_cmh2o", where, n=n, unit="cmH2O", text="too few people to draw a distribution")
        return
    dots = MORE_DOTS if n >= PEOPLE_FOR_MORE else DOTS
    for k in range(dots):
        probability = (k + 0.5) / dots
        section.add("gain_quantile_cmh2o", where, at=probability, n=n, value=true.quantile(probability), unit="cmH2O",
                    method="quantile of the people's true gains given all their tests; no dot is one person")


def _target(
    section: Section, found: PressureModels, settings: Settings, error: MeasurementError, true: TrueGains | None,
    frames: Frames, n: int,
) -> None:  # fmt: skip
    where = group(pressure=found.pressure)
    target = settings.mip_target_gain_cmh2o if found.pressure == "mip" else settings.mep_target_gain_cmh2o
    if target <= 0:
        section.add("target_cmh2o", where, unit="cmH2O", text="no target gain is set for this pressure")
        return
    section.add("target_cmh2o", where, value=target, unit="cmH2O", text="settings")
    if true is not None:
        mean_probability(section, "expected_past_target_pct", where, true.past(target))
    _floor(section, "target_by_chance_pct", target, error, frames, found.pressure, n)


def past_error(frames: Frames, settings: Settings, models: Models) -> ResultSet:
    """Section "past_error"."""
    section = Section("quarter", "past_error")
    for pressure, found in models.items():
        where = group(pressure=pressure)
        people = twelve_week_gains(frames, pressure)
        if people.is_empty():
            section.state("No one has both a baseline and a test in the 12-week window.", group=where)
            continue
        error = measurement_error(found, settings)
        section.add("sdc95_cmh2o", where, value=error.sdc95, unit="cmH2O", text=error.source)
        _zones(section, people, error.sdc95, where)
        true = true_gains(frames, found)
        if true is None:
            section.state("No model stands behind a distribution of gains yet.", group=where)
        else:
            mean_probability(section, "expected_past_sdc_pct", where, np.asarray(true.past(error.sdc95)))
            _dots(section, true, where)
        _floor(section, "by_chance_pct", error.sdc95, error, frames, pressure, people.height)
        _target(section, found, settings, error, true, frames, people.height)
    return section.done()
