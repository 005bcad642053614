"""Shares and their intervals, the number needed to treat, and the share that chance alone would give."""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri


@dataclass(frozen=True)
class Interval:
    """A value with its two-sided limits, in the unit of the value (shares: 0 to 1)."""

    value: float
    low: float
    high: float
    level: float


def _z(level: float) -> float:
    return float(ndtri(0.5 + level / 2))


def wilson(events: int, n: int, *, level: float = 0.95) -> Interval:
    """Share events/n with the Wilson score interval, without continuity correction.

    Stays inside 0..1, and has width at 0 and n events. Source: Wilson 1927, J Am Stat Assoc 22:209-12; Newcombe 1998,
    Stat Med 17:857-72, method 3. ValueError unless 0 <= events <= n and n > 0.
    """
    if not 0 <= events <= n or n == 0:
        raise ValueError("expected 0 <= events <= n and n above 0")
    z, share = _z(level), events / n
    middle = share + z * z / (2 * n)
    half = z * sqrt(share * (1 - share) / n + z * z / (4 * n * n))
    low = 0.0 if events == 0 else (middle - half) / (1 + z * z / n)
    high = 1.0 if events == n else (middle + half) / (1 + z * z / n)
    return Interval(share, low, high, level)


def newcombe_difference(events_1: int, n_1: int, events_2: int, n_2: int, *, level: float = 0.95) -> Interval:
    """Difference of two independent shares, first minus second, by Newcombe's hybrid of Wilson limits.

    low = d − √((p1−l1)² + (u2−p2)²), high = d + √((u1−p1)² + (p2−l2)²).
    Source: Newcombe 1998, Stat Med 17:873-90, method 10.
    """
    first, second = wilson(events_1, n_1, level=level), wilson(events_2, n_2, level=level)
    difference = first.value - second.value
    down = sqrt((first.value - first.low) ** 2 + (second.high - second.value) ** 2)
    up = sqrt((first.high - first.value) ** 2 + (second.value - second.low) ** 2)
    return Interval(difference, difference - down, difference + up, level)


@dataclass(frozen=True)
class NumberNeeded:
    """Number needed to benefit (or, if negative difference, to harm) and its interval as words.

    ``through_infinity`` is True if the interval of the difference holds 0: then there is no plain interval, and
    ``text`` runs from benefit through infinity to harm (Altman 1998, BMJ 317:1309-12).
    """

    value: float | None
    low: float
    high: float
    through_infinity: bool
    text: str


def number_needed(difference: Interval) -> NumberNeeded:
    """Turn a difference of shares of a good outcome into a number needed; its interval never skips infinity."""
    value = None if difference.value == 0 else 1 / abs(difference.value)
    side = "benefit" if difference.value > 0 else "harm"
    head = "infinite" if value is None else f"{value:.1f} for one {side}"
    if difference.low < 0 < difference.high:
        benefit, harm = 1 / difference.high, 1 / -difference.low
        return NumberNeeded(value, benefit, harm, True, f"{head} (benefit {benefit:.1f} … ∞ … harm {harm:.1f})")
    bounds = sorted(np.inf if limit == 0 else 1 / abs(limit) for limit in (difference.low, difference.high))
    low, high = float(bounds[0]), float(bounds[1])
    upper = "∞" if high == np.inf else f"{high:.1f}"
    return NumberNeeded(value, low, high, False, f"{head} ({low:.1f} to {upper})")


def share_past_by_chance(threshold_cmh2o: float, sem_cmh2o: float, *, learning_cmh2o: float = 0.0) -> float:
    """Share (0-1) of people whose change passes a threshold by measurement error and learning alone.

    P(N(learning, √2·SEM) > threshold): nobody truly trained. The floor that stands beside every share of people past
    a threshold; all three in cmH2O, SEM of one test above 0.
    """
    if sem_cmh2o <= 0:
        raise ValueError("sem_cmh2o: expected above 0")
    return float(ndtr((learning_cmh2o - threshold_cmh2o) / (sqrt(2) * sem_cmh2o)))


def share_past_threshold(gains: ArrayLike, std_errors: ArrayLike, threshold: float) -> float | None:
    """Share (0-1) of people whose true gain passes a threshold: the mean of each one's posterior probability.

    gains and std_errors: posterior mean and SD by person, in the threshold's unit. Counting posterior means past the
    threshold instead understates the share, for they are shrunken. A std_error of 0 counts as certain. None: nobody.
    """
    gain, error = np.asarray(gains, dtype=float), np.asarray(std_errors, dtype=float)
    if gain.size == 0:
        return None
    sure = error <= 0
    z = (gain - threshold) / np.where(sure, 1.0, error)
    return float(np.mean(np.where(sure, (gain > threshold).astype(float), ndtr(z))))
