"""Charts over quarters: run chart and XmR with stated rules. Limits and signals only; the drawing is elsewhere."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import floor, log2, pi, sqrt
from statistics import mean, median
from types import MappingProxyType

import numpy as np
from scipy.stats import binom

D2_EXACT = 2 / sqrt(pi)
"""Mean range of two standard normals, 1.128379; limits are mean ± 3/d2·mean moving range, 3/d2 = 2.65868."""
D2_ROUNDED = 1.128
"""The three-decimal d2 of printed handbook tables; only for comparing with them."""
D4_EXACT = 1 + 3 * sqrt(pi / 2 - 1)
"""Upper limit of the moving range over its mean, 1 + 3·d3/d2 with d3² = 2 − 4/π; 3.26653 (tables: 3.267)."""

RUN_LENGTH = 8
FEWEST_FOR_RUN_CHART = 8
FEWEST_FOR_XMR = 12

FALSE_SIGNAL_SHARE = MappingProxyType(
    {12: 0.041, 14: 0.080, 16: 0.125, 20: 0.207, 24: 0.275, 28: 0.329, 32: 0.376, 36: 0.417, 40: 0.453}
)
"""Share of stable series with at least one XmR signal, by number of points, limits fixed on the first 12."""
FALSE_RUN_CHART_SHARE = MappingProxyType(
    {8: 0.0, 9: 0.0, 10: 0.008, 11: 0.008, 12: 0.011, 14: 0.021, 16: 0.009, 20: 0.024, 24: 0.031}
)
"""The same for a run chart. Both measured by tests/studies/control_chart_signals.py (20,000 and 5,000 series)."""


@dataclass(frozen=True)
class XmrLimits:
    """Natural process limits in the values' unit, from the first ``base_points`` points."""

    center: float
    low: float
    high: float
    mean_moving_range: float
    moving_range_high: float
    sigma: float
    base_points: int


@dataclass(frozen=True)
class Signal:
    """A rule that fired: "outside", "run of 8" or "2 of 3 beyond 2 sigma"; side "high" or "low".

    first, last: the points it spans, from 0. first_seen: the point at which it first stood (the eighth of a run).
    """

    rule: str
    first: int
    last: int
    side: str
    first_seen: int


def xmr_limits(values: Sequence[float], *, base_points: int | None = None, d2: float = D2_EXACT) -> XmrLimits:
    """XmR limits fixed on the first ``base_points`` values (default all): mean ± 3·(mean moving range)/d2.

    Two or more values in the base, else ValueError. Source: Wheeler and Chambers 1992; NIST/SEMATECH e-Handbook of
    Statistical Methods, section 6.3.2.2.
    """
    base = list(values[: base_points or len(values)])
    if len(base) < 2:
        raise ValueError("expected two or more points to set limits on")
    moving = mean(abs(later - earlier) for earlier, later in pairwise(base))
    center, sigma = mean(base), moving / d2
    return XmrLimits(center, center - 3 * sigma, center + 3 * sigma, moving, D4_EXACT * moving, sigma, len(base))


def _sides(values: Sequence[float], line: float) -> list[int]:
    return [(value > line) - (value < line) for value in values]


def _side(sign: int) -> str:
    return "high" if sign > 0 else "low"


def _outside(values: Sequence[float], limits: XmrLimits) -> list[Signal]:
    sides = [(value > limits.high) - (value < limits.low) for value in values]
    return [Signal("outside", i, i, _side(sign), i) for i, sign in enumerate(sides) if sign]


def _runs(sides: Sequence[int]) -> list[tuple[int, int, int]]:
    """Unbroken runs on one side as (sign, first, last); a point on the line neither breaks nor extends a run."""
    runs: list[tuple[int, int, int]] = []
    for i, sign in enumerate(sides):
        if sign and runs and runs[-1][0] == sign:
            runs[-1] = (sign, runs[-1][1], i)
        elif sign:
            runs.append((sign, i, i))
    return runs


def _long_runs(values: Sequence[float], limits: XmrLimits) -> list[Signal]:
    signals, sides = [], _sides(values, limits.center)
    for sign, first, last in _runs(sides):
        useful = [i for i in range(first, last + 1) if sides[i]]
        if len(useful) >= RUN_LENGTH:
            signals.append(Signal(f"run of {RUN_LENGTH}", first, last, _side(sign), useful[RUN_LENGTH - 1]))
    return signals


def _two_of_three(values: Sequence[float], limits: XmrLimits) -> list[Signal]:
    signals = []
    for sign in (1, -1):
        far = [sign * (value - limits.center) > 2 * limits.sigma for value in values]
        for last in range(1, len(far)):
            window = far[max(0, last - 2) : last + 1]
            if far[last] and sum(window) >= 2:
                signals.append(Signal("2 of 3 beyond 2 sigma", max(0, last - 2), last, _side(sign), last))
    return signals


def xmr_signals(values: Sequence[float], limits: XmrLimits) -> list[Signal]:
    """Signals by three rules, in order of place: outside the limits; a run of 8 on one side of the centre line;
    2 of 3 points in a row beyond 2 sigma on the same side (zone rules, Western Electric handbook 1956).

    Points on the centre line neither break nor extend a run. The false-signal share of the three together is
    FALSE_SIGNAL_SHARE; a signal is weak evidence, its absence weaker.
    """
    signals = _outside(values, limits) + _long_runs(values, limits) + _two_of_three(values, limits)
    return sorted(signals, key=lambda signal: (signal.last, signal.first, signal.rule))


@dataclass(frozen=True)
class RunChart:
    """Median, longest run and crossings against their limits; ``points`` counts those not on the median."""

    median: float
    points: int
    longest_run: int
    longest_run_limit: int
    crossings: int
    fewest_crossings: int
    has_signal: bool


def longest_run_limit(points: int) -> int:
    """Longest run expected of ``points`` stable points not on the median: round(log2(n) + 3); longer is a signal.

    Source: Anhøj and Olesen 2014, PLoS ONE 9:e113825. Points above 0.
    """
    return floor(log2(points) + 3.5)


def fewest_crossings(points: int) -> int:
    """Fewest crossings of the median expected of ``points`` stable points: 5 % quantile of Binomial(n − 1, ½).

    Fewer is a signal. Source: Chen 2010, Epidemiology 21:S14-5, as used by Anhøj and Olesen 2014.
    """
    return int(binom.ppf(0.05, points - 1, 0.5)) if points > 1 else 0


def run_chart(values: Sequence[float]) -> RunChart:
    """Run chart of one value a quarter: median of all points, longest run and crossings, and whether either signals.

    One value or more, else ValueError. Below 12 points the rules can hardly fire; below 8 show no chart.
    """
    if not values:
        raise ValueError("expected one value or more")
    middle = median(values)
    useful = [sign for sign in _sides(values, middle) if sign]
    runs = _runs(useful)
    longest = max((last - first + 1 for _, first, last in runs), default=0)
    crossings = max(len(runs) - 1, 0)
    limit, fewest = longest_run_limit(max(len(useful), 1)), fewest_crossings(len(useful))
    return RunChart(middle, len(useful), longest, limit, crossings, fewest, longest > limit or crossings < fewest)


def p_chart_limits(share: float, n: int) -> tuple[float, float]:
    """Three-sigma limits (0-1) of a point's share with n people: share ± 3·√(share(1−share)/n), cut to 0..1."""
    half = 3 * sqrt(share * (1 - share) / n)
    return max(0.0, share - half), min(1.0, share + half)


def chart_kind(points: int) -> str:
    """Kind by number of points: "none" below 8, "run chart" for 8 to 11, "xmr" from 12 on, its limits fixed on 12."""
    if points < FEWEST_FOR_RUN_CHART:
        return "none"
    return "run chart" if points < FEWEST_FOR_XMR else "xmr"


def false_signal_share(points: int) -> float | None:
    """Share (0-1) of stable series of this many points whose chart shows a signal, for printing under the chart.

    By the chart that chart_kind gives: None below 8 points, the run chart's to 11, the XmR's from 12; interpolated
    between the counts measured, and from 40 points on the value at 40 ("at least").
    """
    if points < FEWEST_FOR_RUN_CHART:
        return None
    table = FALSE_RUN_CHART_SHARE if points < FEWEST_FOR_XMR else FALSE_SIGNAL_SHARE
    return float(np.interp(points, list(table.keys()), list(table.values())))
