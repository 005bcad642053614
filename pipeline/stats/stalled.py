"""Who has stalled: gain first, then slope, at one look a quarter. Evidence for a low slope, not lack of it for a rise.

A flag is a reason to look again at the whole plan, never a judgement of a person. No accepted numeric definition of a
plateau was found (Demain 2006 calls the word ambiguous); the rule is ours, and tests/studies holds what it does to
people of known kinds.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import ndtr

from pipeline.stats.next_test import NextTest, next_test
from pipeline.stats.stalled_rule import (
    AIMS_WITHOUT_GAIN,
    CANNOT_TELL,
    FALLING,
    IMPROVING,
    LEVELLED_OFF,
    NOT_ASSESSABLE,
    RAISE,
    STALLED,
    StalledRule,
)
from pipeline.stats.window_slope import WindowSlope, chosen_slope, power_if_flat


@dataclass(frozen=True)
class GainAxis:
    """What the gain says: "little gained", "target gained", "unclear", or "no target", "not used", "no gain".

    All pressures in cmH2O. below_target = P(gain − allowance < target), 0-1. shortfall_z = (target + allowance −
    gain)/SE, the evidence by which a worklist is ordered.
    """

    verdict: str
    gain: float | None = None
    std_error: float | None = None
    target: float | None = None
    allowance: float = 0.0
    below_target: float | None = None
    shortfall_z: float | None = None


@dataclass(frozen=True)
class SlopeAxis:
    """What the last weeks say: "rising", "falling", "no clear slope" or "not assessable".

    low and high: slope ± z·SE in cmH2O a week. power_if_flat: chance that these tests tell a flat person from one on
    pace; None without a target.
    """

    verdict: str
    window: WindowSlope | None = None
    low: float | None = None
    high: float | None = None
    power_if_flat: float | None = None


@dataclass(frozen=True)
class Course:
    """One person's comparable tests of one pressure, and what the model and the episode say about them.

    weeks, values: one a test day, weeks from week 0, cmH2O. residual_sd: the pooled one of the model, or one a test.
    gain, gain_std_error: model gain from baseline to the last test. target: cmH2O, None if none is set. allowance:
    learning, cmH2O. goal: a level set by the clinician. lower_limit_reached: see ``reached_lower_limit``.
    obstacle: why a gain cannot be had at all ("no baseline", "series broken"); then not assessable with that reason.
    """

    weeks: Sequence[float]
    values: Sequence[float]
    residual_sd: float | Sequence[float]
    look_week: float
    gain: float | None = None
    gain_std_error: float | None = None
    target: float | None = None
    allowance: float = 0.0
    aim: str | None = RAISE
    goal: float | None = None
    lower_limit_reached: bool = False
    obstacle: str | None = None


@dataclass(frozen=True)
class Verdict:
    """State, the reason for it in words with its numbers, both axes, and the test that would settle an open case."""

    state: str
    reason: str
    gain: GainAxis
    slope: SlopeAxis
    tests: int
    last_test_week: float | None
    goal_reached: bool
    next_test: NextTest | None = None


def gain_axis(
    gain: float | None, std_error: float | None, *, target: float | None, allowance: float, aim: str | None,
    rule: StalledRule,
) -> GainAxis:  # fmt: skip
    """Judge a model gain against target + allowance. SE not above 0: "no gain". An aim not stated counts as "raise"."""
    if aim in AIMS_WITHOUT_GAIN:
        return GainAxis("not used", gain, std_error, target, allowance)
    if gain is None or std_error is None or std_error <= 0:
        return GainAxis("no gain", gain, std_error, target, allowance)
    if target is None:
        return GainAxis("no target", gain, std_error, target, allowance)
    z = (target + allowance - gain) / std_error
    below = float(ndtr(z))
    verdict = "little gained" if below > rule.certain else "target gained" if 1 - below > rule.certain else "unclear"
    return GainAxis(verdict, gain, std_error, target, allowance, below, z)


def slope_axis(
    weeks: Sequence[float], values: Sequence[float], residual_sd: float | Sequence[float], *, rule: StalledRule,
    target: float | None = None,
) -> SlopeAxis:  # fmt: skip
    """Judge the slope of the last 12 weeks, of 24 where 12 say too little; "not assessable" if both do.

    Rising: b − z·SE > 0 or P(slope > 0) = Φ(b/SE) ≥ rule.certain; with the defaults the second decides (1.28 < 1.645).
    Falling: b + z·SE < 0.
    """
    window = chosen_slope(
        weeks, values, residual_sd,
        window_weeks=rule.window_weeks, wide_window_weeks=rule.wide_window_weeks, widest_se=rule.widest_slope_se,
    )  # fmt: skip
    if window is None:
        return SlopeAxis("not assessable")
    low, high = (window.slope + sign * rule.slope_z * window.std_error for sign in (-1, 1))
    pace = None if target is None else target / rule.pace_weeks
    power = None if pace is None else power_if_flat(window.std_error, pace=pace, z=rule.slope_z)
    if window.std_error > rule.widest_slope_se:
        verdict = "not assessable"
    elif low > 0 or float(ndtr(window.slope / window.std_error)) >= rule.certain:
        verdict = "rising"
    else:
        verdict = "falling" if high < 0 else "no clear slope"
    return SlopeAxis(verdict, window, low, high, power)


def reached_lower_limit(
    baseline: float, level: float, level_std_error: float, lower_limit: float, *, rule: StalledRule
) -> bool:
    """True if the lower limit of normal may count as a goal reached: baseline below it, and the lower 90 % bound of
    the present level (level − z·SE) above it. Most older adults are above it from the start: that is no goal reached.
    """
    return baseline < lower_limit < level - rule.slope_z * level_std_error


def _decide(gain: GainAxis, slope: SlopeAxis, goal_reached: bool) -> tuple[str, str]:
    if slope.verdict == "falling":
        return FALLING, "the pressure is falling"
    if slope.verdict == "rising":
        return IMPROVING, "the pressure is rising"
    if goal_reached:
        return LEVELLED_OFF, "a goal was reached"
    if slope.verdict == "not assessable":
        return CANNOT_TELL, "the tests lie too close together or are too few to judge a slope"
    states = {
        "little gained": (STALLED, "little gained and not rising"),
        "target gained": (LEVELLED_OFF, "target gained and not rising any more"),
        "unclear": (CANNOT_TELL, "the gain is neither clearly below nor clearly at the target"),
        "not used": (LEVELLED_OFF, "the aim is not to raise the pressure, and it is not clearly falling"),
        "no target": (NOT_ASSESSABLE, "no target is set for this pressure"),
        "no gain": (NOT_ASSESSABLE, "no gain could be estimated"),
    }
    return states[gain.verdict]


def _number(value: float, digits: int) -> str:
    return f"{value:.{digits}f}".replace("-", "−")


def _chance(value: float) -> str:
    return "above 0.99" if value > 0.995 else "below 0.01" if value < 0.005 else f"{value:.2f}"


def _in_words(reason: str, gain: GainAxis, slope: SlopeAxis) -> str:
    parts = [reason]
    if gain.gain is not None and gain.std_error is not None:
        parts.append(f"gain {_number(gain.gain, 1)} cmH2O (SE {gain.std_error:.1f})")
    if gain.below_target is not None and gain.target is not None:
        learning = f" after {gain.allowance:.1f} for learning" if gain.allowance else ""
        parts.append(f"below the target of {gain.target:.1f}{learning} with probability {_chance(gain.below_target)}")
    if slope.window is not None and slope.low is not None and slope.high is not None:
        span = f"90 % interval {_number(slope.low, 2)} to {_number(slope.high, 2)}"
        parts.append(f"slope {_number(slope.window.slope, 2)} cmH2O a week ({span}, {slope.window.tests} tests)")
    return "; ".join(parts)


def _mean_sd(residual_sd: float | Sequence[float]) -> float:
    return residual_sd if isinstance(residual_sd, int | float) else sum(residual_sd) / max(len(residual_sd), 1)


def judge(course: Course, rule: StalledRule) -> Verdict:
    """Give one person's state at one look, by the rule "gain first, then slope".

    Falling and rising come before everything else; then a goal reached on rule.goal_days test days; then the gain. A
    last test further back than the narrow window says nothing about now: can't tell yet. Raises ValueError if weeks
    and values differ in number.
    """
    gain = gain_axis(
        course.gain, course.gain_std_error,
        target=course.target, allowance=course.allowance, aim=course.aim, rule=rule,
    )  # fmt: skip
    slope = slope_axis(course.weeks, course.values, course.residual_sd, rule=rule, target=course.target)
    tests, last = len(course.weeks), max(course.weeks, default=None)
    days_at_goal = 0 if course.goal is None else sum(value >= course.goal for value in course.values)
    goal_reached = course.lower_limit_reached or days_at_goal >= rule.goal_days
    if course.obstacle:
        state, reason = NOT_ASSESSABLE, course.obstacle
    elif tests < 2:
        state, reason = NOT_ASSESSABLE, ("no comparable test", "only one comparable test")[tests]
    elif last is not None and course.look_week - last > rule.window_weeks:
        state, reason = CANNOT_TELL, f"the last comparable test is {course.look_week - last:.0f} weeks old"
    else:
        state, reason = _decide(gain, slope, goal_reached)
    plan = None
    if tests and not course.obstacle and state in {CANNOT_TELL, NOT_ASSESSABLE}:
        plan = next_test(
            course.weeks, _mean_sd(course.residual_sd), look_week=course.look_week, rule=rule, target=course.target,
            gain=course.gain, gain_se=course.gain_std_error, allowance=course.allowance,
        )  # fmt: skip
    return Verdict(state, _in_words(reason, gain, slope), gain, slope, tests, last, goal_reached, plan)
