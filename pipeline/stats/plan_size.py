"""How many people and tests it takes to see that two protocols differ, from the spread of slopes and of tests.

Everybody is tested at the same weeks, evenly spaced from the start to the last; each person's slope is a straight line
through them. The difference of two groups' mean slopes has the variance 2 (psi + sigma^2 / Sxx) / n, with psi that of
people's slopes and Sxx the spread of the weeks (Diggle, Heagerty, Liang and Zeger 2002, Analysis of Longitudinal Data,
section 2.4, where psi is 0), and 2n - 2 degrees of freedom. Two tests a person: the change from first to last.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, inf, sqrt

from scipy.special import ndtri

from pipeline.stats.planned import power_of

UNIT_WEEKS = 12.0
MOST = 10_000_000


@dataclass(frozen=True)
class Spread:
    """Between people's slopes, cmH2O per 12 weeks, and between tests of one person, cmH2O. The level does not enter."""

    slope_sd: float
    residual_sd: float


@dataclass(frozen=True)
class Question:
    """A true difference in cmH2O at `weeks` weeks, to be found with `power` at `alpha` by a test of 1 or 2 `sides`.

    lost: share of people who are never tested again; they tell nothing of a slope.
    """

    difference: float
    weeks: float = 12.0
    power: float = 0.8
    alpha: float = 0.05
    sides: int = 2
    lost: float = 0.0


@dataclass(frozen=True)
class Size:
    """What it takes with so many tests each: people a group and in all (those later lost included), tests in all, the
    power and the degrees of freedom with them, and the people a group by the normal formula (nobody lost)."""

    tests_each: int
    people_each: int
    people: int
    tests: int
    power: float
    df: int
    normal_each: float


def gain_variance(spread: Spread, weeks: float, tests_each: int) -> float:
    """Variance, (cmH2O)^2, of one person's straight-line gain at `weeks` with so many evenly spaced tests (2 on)."""
    n = tests_each
    unit = weeks / UNIT_WEEKS
    sum_of_squares = unit**2 * n * (n + 1) / (12.0 * (n - 1))  # of 0, 1/(n-1) .. 1, times the time there is
    return unit**2 * (spread.slope_sd**2 + spread.residual_sd**2 / sum_of_squares)


def normal_size(question: Question, variance: float) -> float:
    """People a group by the normal formula, not rounded: 2 (z_(1 - alpha / sides) + z_power)^2 variance / d^2."""
    z = float(ndtri(1 - question.alpha / question.sides) + ndtri(question.power))
    return 2.0 * z * z * variance / question.difference**2


def power_with(question: Question, variance: float, people_each: int) -> float:
    """Power of a t test of two means of `people_each` gains of this variance."""
    return power_of(abs(question.difference) / sqrt(2 * variance / people_each), 2 * people_each - 2, question.alpha,
                    question.sides)  # fmt: skip


def size(question: Question, spread: Spread, tests_each: int) -> Size | None:
    """The smallest cohort of two equal groups that has the power; None where none below ten million does."""
    variance = gain_variance(spread, question.weeks, tests_each)
    start = normal_size(question, variance)
    low, high = 1, max(2, ceil(start) + 4)
    while power_with(question, variance, high) < question.power:
        low, high = high, 2 * high
        if high > MOST:
            return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if power_with(question, variance, middle) >= question.power else (middle, high)
    asked = ceil(round(high / (1 - question.lost), 9)) if question.lost < 1 else inf
    if asked > MOST:
        return None
    each = int(asked)
    tests = 2 * (each + high * (tests_each - 1))
    return Size(tests_each, each, 2 * each, tests, power_with(question, variance, high), 2 * high - 2, start)
