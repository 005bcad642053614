"""How far two tests of an unchanged person differ: SEM, SDC95, limits of agreement, regression to the mean."""

from dataclasses import dataclass
from math import sqrt

import numpy as np
import polars as pl
from numpy.typing import ArrayLike
from scipy.special import ndtr, stdtrit
from scipy.stats import chi2

SDC95_FORMULA = "1.96·√2·SEM"
Z95 = 1.96
"""As printed in the trade, not 1.959964: SDC95 figures are compared with published ones."""


def sdc95(sem: float) -> float:
    """Smallest detectable change of one person, 1.96·√2·SEM, in the SEM's unit. Some papers print 1.96·SEM instead."""
    return Z95 * sqrt(2) * sem


def sem_from_sdc95(change: float) -> float:
    """SEM behind a smallest detectable change that was made as 1.96·√2·SEM."""
    return change / (Z95 * sqrt(2))


@dataclass(frozen=True)
class Repeatability:
    """Within-person SD (= SEM) of repeat tests with its interval, and the SDC95, all in the tests' unit.

    people: those with two or more tests; df: tests minus people. ``formula`` belongs beside every SDC printed.
    """

    sem: float
    low: float
    high: float
    sdc95: float
    sdc95_low: float
    sdc95_high: float
    people: int
    df: int
    level: float
    formula: str = SDC95_FORMULA


def repeatability(
    repeats: pl.DataFrame, *, person: str = "client_key", value: str = "value_cmh2o", level: float = 0.95
) -> Repeatability | None:
    """SEM from repeat tests of people who did not change in between: √(pooled within-person variance).

    repeats: one row per test, columns ``person`` and ``value``; people with one test or a null value drop out. None if
    nobody has two. Interval from the chi-squared of df. Source: Bland and Altman 1986, Lancet i:307-10 and 1999,
    Stat Methods Med Res 8:135-60.
    """
    by_person = (
        repeats.drop_nulls([person, value])
        .group_by(person)
        .agg(pl.len().alias("n"), ((pl.col(value) - pl.col(value).mean()) ** 2).sum().alias("squares"))
        .filter(pl.col("n") > 1)
        .sort(person)
    )
    if by_person.is_empty():
        return None
    squares, people = float(by_person["squares"].sum()), by_person.height
    df = int(by_person["n"].sum()) - people
    sem = sqrt(squares / df)
    low = sqrt(squares / float(chi2.ppf(0.5 + level / 2, df)))
    high = sqrt(squares / float(chi2.ppf(0.5 - level / 2, df)))
    return Repeatability(sem, low, high, sdc95(sem), sdc95(low), sdc95(high), people, df, level)


@dataclass(frozen=True)
class Agreement:
    """Mean difference (first − second) and 95 % limits of agreement, with the SEs of both, in the values' unit."""

    n: int
    mean: float
    sd: float
    low: float
    high: float
    mean_std_error: float
    limit_std_error: float
    mean_low: float
    mean_high: float


def bland_altman(first: ArrayLike, second: ArrayLike, *, multiplier: float = Z95) -> Agreement:
    """Limits of agreement of paired values, mean ± multiplier·SD of the differences (1986 paper: 2; now usually 1.96).

    The same number of finite values in both, three or more. The SE of a limit is the 1986 paper's √(3·SD²/n).
    Source: Bland and Altman 1986, Lancet i:307-10.
    """
    difference = np.asarray(first, dtype=float) - np.asarray(second, dtype=float)
    n = difference.size
    if n < 3:
        raise ValueError("expected three or more pairs")
    mean, sd = float(difference.mean()), float(difference.std(ddof=1))
    mean_se = sd / sqrt(n)
    half = float(stdtrit(n - 1, 0.975)) * mean_se
    limits = (mean - multiplier * sd, mean + multiplier * sd)
    return Agreement(n, mean, sd, *limits, mean_se, sqrt(3) * mean_se, mean - half, mean + half)


def rise_by_selection(cut: float, mean: float, observed_sd: float, reliability: float) -> float:
    """Expected rise at the next test of people chosen for a measured value below ``cut``: regression to the mean.

    (1 − reliability)·(mean − E[measured | measured < cut]) for a normal population of measured values with that mean
    and SD; reliability 0-1 = between-person share of the measured variance. Unit of ``cut``; no true change at all.
    """
    if observed_sd <= 0 or not 0 <= reliability <= 1:
        raise ValueError("expected an SD above 0 and a reliability in 0..1")
    z = (cut - mean) / observed_sd
    density = np.exp(-z * z / 2) / sqrt(2 * np.pi)
    return float((1 - reliability) * observed_sd * density / ndtr(z))


def expected_best_of(efforts: int, effort_sd: float) -> float:
    """How far the best of ``efforts`` equal efforts lies above their mean, in the SD's unit (normal efforts).

    Integral of 1 − Φ(x)^n − Φ(−x)^n over x > 0, on a fixed grid: 0.85 / 1.42 / 1.54 SD for 3 / 8 / 10 efforts.
    """
    if efforts < 1:
        raise ValueError("efforts: expected 1 or more")
    grid = np.linspace(0, 10, 20001)
    tail = 1 - ndtr(grid) ** efforts - ndtr(-grid) ** efforts
    return float(np.trapezoid(tail, grid)) * effort_sd
