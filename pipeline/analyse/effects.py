"""Numbers of one pressure that several sections need: measurement error, people with a 12-week test, true gains."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
import polars as pl
from scipy.special import ndtr
from scipy.stats import chi2

from pipeline.analyse.common import Array, Frames, Section
from pipeline.analyse.fits import Fitted, PressureModels, learned
from pipeline.settings import Settings
from pipeline.stats import Contrast, gains
from pipeline.stats.reliability import sdc95
from pipeline.stats.unmeasured import robustness

OWN_REPEATS = "this cohort's own repeat tests, a few days apart"
FEWEST_LATE = 20
"""People with a test at week 20 or later below which nothing is read at 24 weeks."""
KR = "contrast of the mixed model, REML, Kenward-Roger interval"
ROBUSTNESS = "Cinelli and Hazlett 2020, of t with Kenward-Roger df: approximate"


@dataclass(frozen=True)
class MeasurementError:
    """Standard error of one test between days, in cmH2O, with its interval where the cohort itself gave it."""

    sem: float
    low: float | None
    high: float | None
    source: str

    @property
    def sdc95(self) -> float:
        """Smallest change of one person beyond error, in cmH2O."""
        return sdc95(self.sem)


def measurement_error(models: PressureModels, settings: Settings) -> MeasurementError:
    """The model's residual SD where it has one; else that of the cohort's own repeat tests, where enough people have
    them; else the published figure of the settings.

    Interval by chi-squared on tests less columns of the mean less two for each person: approximate.
    """
    primary = models.working("primary")
    if primary is None or primary.reading is None or models.gate is None or models.gate.rung == "R4":
        if models.repeats is not None:
            own = models.repeats.error
            return MeasurementError(own.sem, own.low, own.high, OWN_REPEATS)
        default = settings.mip_sem_cmh2o if models.pressure == "mip" else settings.mep_sem_cmh2o
        return MeasurementError(default, None, None, "settings: published, between days; the cohort cannot tell yet")
    sem = primary.reading.residual_sd
    df = primary.tests - len(primary.reading.terms) - 2 * primary.people
    low = high = None
    if df > 10:
        low, high = (sem * sqrt(df / float(chi2.ppf(q, df))) for q in (0.975, 0.025))
    return MeasurementError(sem, low, high, "residual SD of this cohort's mixed model")


def reads_24_weeks(fitted: Fitted) -> bool:
    """True where enough people have a test late enough to read the curve at 24 weeks."""
    return fitted.who.late >= FEWEST_LATE


def put(
    section: Section, statistic: str, where: str, found: Contrast | None, unit: str = "cmH2O", **fields: object
) -> None:
    """Add a contrast with its interval, or a row that says that it cannot be given."""
    if found is None:
        section.add(statistic, where, unit=unit, **({"text": "the model cannot give this"} | fields))
        return
    section.add(statistic, where, unit=unit, value=found.estimate, low=found.low, high=found.high,
                **({"method": KR} | fields))  # fmt: skip


def put_robustness(section: Section, where: str, found: Contrast | None, **fields: object) -> None:
    """Add what an unmeasured cause would have to account for; nothing where there is no estimate to bring to 0."""
    if found is None or not found.df > 1:
        return
    seen = robustness(found.t, found.df)
    shares = {"partial_r2_pct": seen.partial_r2, "robustness_value_pct": seen.to_nothing,
              "robustness_value_95_pct": seen.to_doubt}  # fmt: skip
    for statistic, share in shares.items():
        section.add(statistic, where, value=100 * share, unit="%", method=ROBUSTNESS, **fields)


def twelve_week_gains(frames: Frames, pressure: str) -> pl.DataFrame:
    """First courses with a gain at 12 weeks, one row a person, with what is known of them at the start."""
    known = frames["courses"].filter(pl.col("is_primary")).select(
        "client_key", "course_no", "sex", "condition_group", "age_years")  # fmt: skip
    rows = frames["gains"].filter((pl.col("pressure") == pressure) & pl.col("gain12_cmh2o").is_not_null())
    return rows.join(known, on=["client_key", "course_no"], how="inner").sort("client_key")


def learned_by_12_weeks(frames: Frames, pressure: str) -> Array:
    """Learning alone, baseline to 12-week test, of each first-ever person: full curve, in cmH2O; empty for MEP."""
    if pressure != "mip":
        return np.empty(0)
    people = twelve_week_gains(frames, pressure).filter(pl.col("first_ever"))
    tests = frames["model"].filter(pl.col("pressure") == pressure)
    at = people.select("client_key", "course_no", pl.col("at12_on").alias("tested_on")).join(
        tests, on=["client_key", "course_no", "tested_on"], how="inner").sort("client_key")  # fmt: skip
    return np.asarray(learned(at).to_numpy(), dtype=float)


@dataclass(frozen=True)
class TrueGains:
    """Each person's gain from baseline to the 12-week test given all their tests: mean and SD, cmH2O."""

    keys: tuple[str, ...]
    gain: Array
    sd: Array

    def past(self, threshold: float) -> Array:
        """Probability of each person that the true gain passes a threshold in cmH2O."""
        return np.asarray(ndtr((self.gain - threshold) / self.sd))

    def quantile(self, probability: float) -> float:
        """Quantile of the true gains of all of them together: of the mixture, by bisection to 0.001 cmH2O."""
        low = float((self.gain - 8 * self.sd).min())
        high = float((self.gain + 8 * self.sd).max())
        while high - low > 1e-3:
            middle = (low + high) / 2
            below = float(np.mean(ndtr((middle - self.gain) / self.sd)))
            low, high = (middle, high) if below < probability else (low, middle)
        return (low + high) / 2


def true_gains(frames: Frames, models: PressureModels) -> TrueGains | None:
    """True gains of everybody with a 12-week test, by the model without dose (some doses are not known); or None."""
    primary = models.working("as_delivered")
    if primary is None or primary.fit is None or primary.look is None:
        return None
    people = twelve_week_gains(frames, models.pressure).select("client_key", pl.col("at12_on").alias("tested_on"))
    rows = primary.look.frame
    later = rows.join(people, on=["client_key", "tested_on"], how="inner").sort("client_key")
    earlier = rows.filter(pl.col("is_baseline")).join(later, on="client_key", how="semi").sort("client_key")
    later = later.join(earlier, on="client_key", how="semi").sort("client_key")
    if later.is_empty():
        return None
    same_efforts = pl.lit(0.0).alias("efforts_more")
    found = gains(primary.fit, later.with_columns(same_efforts), earlier.with_columns(same_efforts), 0.0)
    sd = np.maximum(found["std_error"].to_numpy(), 1e-9)
    return TrueGains(tuple(later["client_key"].to_list()), found["gain"].to_numpy(), sd)
