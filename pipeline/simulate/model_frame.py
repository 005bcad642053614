"""Model frames drawn at once, without files: cohorts for studies of bias, coverage and false alarms.

The outcome follows OutcomeTruth, as the sample does. `Study` says what else goes on: confounding, feedback, protocols
tied to sites. All of these are off in the plain study, so that the stated effects are what a right method finds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np
import polars as pl

from pipeline.reference.learning import FULL_RISE_CMH2O, STILL_TO_LEARN
from pipeline.simulate.scenario import MIP_TRUTH, PROTOCOLS, SITES, DropOut, OutcomeTruth

Array = np.ndarray


@dataclass(frozen=True)
class Study:
    """How a studied cohort is made. Confounding is in cmH2O per 12 weeks per SD of health, on the slope.

    stable: health of a person moves adherence (0.1 per SD) and slope; varying: health of an interval moves adherence
    (0.1 per SD) and the rise in it; feedback: adherence of the next interval per SD of the last displayed residual.
    varying: cmH2O at a test per unit of what happened before it, by name in VARYING (none of it moves a later test).
    leaving_by_slope: log-odds of leaving after a test per cmH2O of the client's own unseen slope (0: only by what was
    seen; below 0 those who would have gained least leave first, which no model of the tests that were made can see).
    """

    site_shares: tuple[float, ...] = tuple(s.share for s in SITES)
    protocol_shares: tuple[tuple[float, ...], ...] = tuple(s.protocol_shares for s in SITES)
    share_naive: float = 0.4
    stable_confounding: float = 0.0
    varying_confounding: float = 0.0
    feedback: float = 0.0
    leaving_by_slope: float = 0.0
    varying: Mapping[str, float] = field(default_factory=dict)
    drop_out: DropOut | None = field(default_factory=DropOut)
    max_tests: int = 8


VARYING = ("eased_share_interval", "held_days_interval", "illness_days_interval", "wellbeing_interval",
           "weeks_since_session")
"""Columns of frames.model that vary from test to test; wellbeing counts against a person's first interval."""


def null_truth(truth: OutcomeTruth) -> OutcomeTruth:
    """Return the same truth without any association of dose, effort or protocol with the gain."""
    return replace(truth, dose=0.0, effort=0.0, protocol_gain12=dict.fromkeys(truth.protocol_gain12, 0.0))


def tied_sites(slope_cmh2o: float = 3.0) -> tuple[Study, OutcomeTruth]:
    """Return a null scenario that misleads: each protocol mostly at one site, and sites that differ in their slopes."""
    shares = ((0.90, 0.05, 0.05), (0.05, 0.90, 0.05), (0.05, 0.05, 0.90))
    slopes = dict(zip((s.name for s in SITES), (slope_cmh2o, -slope_cmh2o, 0.0), strict=True))
    return Study(protocol_shares=shares), replace(null_truth(MIP_TRUTH), site_slope=slopes)


@dataclass
class _Drawn:
    """What is fixed for each person (arrays over people)."""

    site: Array
    protocol: Array
    is_male: Array
    age: Array
    is_naive: Array
    adherence: Array
    in_band: Array
    u0: Array
    u1: Array
    health: Array
    gap: Array
    n_tests: Array


def _draw(rng: np.random.Generator, n: int, truth: OutcomeTruth, study: Study) -> _Drawn:
    shares = np.array(study.site_shares) / np.sum(study.site_shares)
    site = rng.choice(len(shares), n, p=shares)
    cuts = np.cumsum(np.array(study.protocol_shares), axis=1)[site]
    z0, z1, health = rng.standard_normal((3, n))
    r = truth.client_slope_correlation
    gap = rng.choice([2, 3, 4, 6], n, p=[0.1, 0.25, 0.45, 0.2])
    planned = rng.choice([14, 18, 22, 26], n, p=[0.35, 0.3, 0.2, 0.15])
    return _Drawn(
        site=site, protocol=np.minimum((rng.random((n, 1)) > cuts).sum(1), len(PROTOCOLS) - 1),
        is_male=rng.random(n) < 0.5, age=np.clip(rng.normal(65, 12, n), 20, 90).astype(int),
        is_naive=rng.random(n) < study.share_naive, adherence=rng.beta(6.0, 2.2, n), in_band=rng.beta(4.0, 2.6, n),
        u0=truth.client_sd * z0, u1=truth.slope_sd * (r * z0 + np.sqrt(1 - r * r) * z1), health=health, gap=gap,
        n_tests=np.minimum(1 + planned // gap, study.max_tests),
    )


def _by_name(names: Array, table: dict[str, float]) -> Array:
    return np.array([table[str(n)] for n in names])


def simulate_model_frame(
    n_clients: int, seed: int, truth: OutcomeTruth = MIP_TRUTH, study: Study | None = None, pressure: str = "mip"
) -> pl.DataFrame:
    """Draw one cohort as `frames.model` (the columns a primary model reads). One row per client and test day.

    n_clients: people; seed: of this cohort. The columns named `true_*` are the linear predictor without error and
    must not enter a fit.
    """
    study, rng = study or Study(), np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed)))
    who = _draw(rng, n_clients, truth, study)
    sites, protocols = np.array([s.name for s in SITES]), np.array([p.name for p in PROTOCOLS])
    fixed = (truth.intercept + truth.male * who.is_male + truth.per_decade_age * (who.age - 65) / 10
             + _by_name(sites, truth.site)[who.site] + _by_name(protocols, truth.protocol)[who.protocol] + who.u0)
    gain12 = truth.gain12 + _by_name(protocols, truth.protocol_gain12)[who.protocol]
    slope = (_by_name(sites, truth.site_slope)[who.site] + who.u1 + study.stable_confounding * who.health)
    dose, effort, drift = np.zeros(n_clients), np.zeros(n_clients), np.zeros(n_clients)
    base, last_residual = np.zeros(n_clients), np.zeros(n_clients)
    here = np.ones(n_clients, dtype=bool)
    moving = _varying_of(n_clients, seed, study.max_tests) if study.varying else {}
    parts = []
    for k in range(study.max_tests):
        here &= k < who.n_tests
        w = k * who.gap / 12.0
        step = who.gap / 12.0 if k else np.zeros(n_clients)
        varying = rng.standard_normal(n_clients)
        lean = study.stable_confounding != 0, study.varying_confounding != 0
        done = np.clip(who.adherence + 0.1 * rng.standard_normal(n_clients) + 0.1 * lean[0] * who.health
                       + 0.1 * lean[1] * varying + study.feedback * last_residual, 0.0, 1.2)
        band = np.clip(who.in_band + 0.12 * rng.standard_normal(n_clients), 0.0, 1.0)
        dose, effort = dose + done * step, effort + (band - 0.5) * step
        drift = drift + study.varying_confounding * varying * step
        learning = truth.learning_share * FULL_RISE_CMH2O * (1 - STILL_TO_LEARN**k) * who.is_naive
        kept = rng.integers(3, 9, n_clients)
        curve = np.expm1(-w / truth.saturation) / np.expm1(-1 / truth.saturation)
        level = (fixed + gain12 * curve + slope * w + truth.dose * dose + truth.effort * effort + drift + learning
                 + truth.per_effort_kept * (kept - 5) + sum(b * moving[n][1][k] for n, b in study.varying.items()))
        error_sd = truth.error_sd * (np.maximum(level, 12.0) / truth.error_level) ** truth.error_power
        last_residual = rng.standard_normal(n_clients)
        value = level + error_sd * last_residual
        base = value if k == 0 else base
        told = _rows(np.flatnonzero(here), k, w, step, done, band, dose, effort, value, level, kept)
        parts.append(told.with_columns(
            pl.Series(n, moving[n][0][k][here] if k and moving else [None] * told.height, dtype=pl.Float64)
            for n in VARYING))
        if k and study.drop_out is not None:
            d = study.drop_out
            eta = (d.level + d.per_cmh2o * (value - base - 6.0) + d.per_adherence * (done - 0.75)
                   + study.leaving_by_slope * who.u1)
            here = here & (rng.random(n_clients) >= who.gap / 4.0 / (1.0 + np.exp(-eta)))
    return _finish(pl.concat(parts), who, sites[who.site], protocols[who.protocol], pressure)


def _varying_of(n: int, seed: int, tests: int) -> dict[str, tuple[Array, Array]]:
    """What is recorded in VARYING at each test, and what of it counts; arrays (tests, people), 0 at the baseline.

    From a stream of its own, so that the rest of a cohort is the same with and without it.
    """
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, 1])))
    shape = (tests, n)
    ill = rng.binomial(14, 0.5, shape) * (rng.random(shape) < 0.2)
    wellbeing = rng.uniform(4, 8, n) + rng.normal(0, 1, shape)
    told = {
        "eased_share_interval": np.clip(rng.beta(0.4, 2.0, shape), 0, 1), "held_days_interval": rng.poisson(2.0, shape),
        "illness_days_interval": ill, "wellbeing_interval": wellbeing,
        "weeks_since_session": rng.exponential(1.0, shape),
    }  # fmt: skip
    counts = told | {"wellbeing_interval": wellbeing - wellbeing[min(1, tests - 1)]}
    later = (np.arange(tests) > 0)[:, None]
    return {name: (np.asarray(told[name], dtype=float), counts[name] * later) for name in VARYING}


def _rows(who: Array, k: int, w: Array, step: Array, done: Array, band: Array, dose: Array, effort: Array,
          value: Array, level: Array, kept: Array) -> pl.DataFrame:
    """Make the rows of test `k` (0 = baseline) of the people `who`, interval values empty at baseline."""
    none = np.full(len(who), np.nan)
    return pl.DataFrame({
        "who": who, "test_no": np.full(len(who), k + 1), "is_baseline": np.full(len(who), k == 0), "time12": w[who],
        "week": w[who] * 12, "interval_weeks": step[who] * 12, "interval_adherence": done[who] if k else none,
        "interval_in_band_share": band[who] if k else none, "interval_logged_share": np.ones(len(who)),
        "dose_d": dose[who], "effort_e": effort[who], "value_cmh2o": value[who], "true_level_cmh2o": level[who],
        "efforts_kept": kept[who],
    }).with_columns(pl.col(pl.Float64).fill_nan(None))


def _finish(rows: pl.DataFrame, who: _Drawn, site: Array, protocol: Array, pressure: str) -> pl.DataFrame:
    """Add the columns that are fixed for a person, the between and within parts, and dates of a plain calendar."""
    n = len(site)
    people = pl.DataFrame({
        "who": np.arange(n), "site": site, "protocol": protocol, "is_male": who.is_male, "age_years": who.age,
        "first_ever": who.is_naive,
    }).with_columns(
        client_key=pl.format("client-{}", pl.col("who").cast(pl.String).str.zfill(6)),
        sex=pl.when("is_male").then(pl.lit("male")).otherwise(pl.lit("female")),
        prior_test_days=pl.when("first_ever").then(0).otherwise(3),
    )
    mean = pl.col("dose_d").max().over("who") / pl.col("time12").max().over("who")
    return (
        rows.join(people, on="who", how="left")
        .with_columns(
            between_dose=(mean.fill_nan(None).fill_null(0.0) * pl.col("time12")),
            course_no=pl.lit(1, pl.Int64), is_primary=pl.lit(True), pressure=pl.lit(pressure),
            tested_on=pl.lit(date(2025, 1, 1)).dt.offset_by(pl.format("{}d", (pl.col("week") * 7).cast(pl.Int64))),
            dose_d_low=pl.col("dose_d"), dose_d_high=pl.col("dose_d"), effort_e_low=pl.col("effort_e"),
            effort_e_high=pl.col("effort_e"), condition_group=pl.lit("copd"), aim=pl.lit("raise"),
            assigned_by=pl.lit("clinician"), caution=pl.lit("none_known"), instrument=pl.lit("gauge"),
            same_tester=pl.lit("yes"), mouthpiece=pl.lit("flanged"), posture=pl.lit("seated"),
            metric=pl.lit("plateau_1s"),
            illness_days_interval=pl.col("illness_days_interval").fill_null(0).cast(pl.Int64),
        )
        .with_columns(within_dose=pl.col("dose_d") - pl.col("between_dose"), quarter=pl.lit("2025Q1"))
        .drop("who", "is_male").sort("client_key", "tested_on")
    )
