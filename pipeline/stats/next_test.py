"""When the next test would settle what today's tests cannot, and what it could show."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from math import ceil, sqrt
from statistics import median

from scipy.special import ndtr, ndtri

from pipeline.stats.stalled_rule import StalledRule
from pipeline.stats.window_slope import power_if_flat, slope_std_error

HORIZON_WEEKS = 24


@dataclass(frozen=True)
class NextTest:
    """The earliest whole week (from week 0) at which one more test lets the slope be judged.

    slope_std_error in cmH2O a week with that test; power_if_flat: chance that a flat person is then told from one on
    pace; chance_gain_settles: chance that the gain axis then gives a clear answer, None without a gain and target.
    """

    week: int
    slope_std_error: float
    power_if_flat: float | None
    chance_gain_settles: float | None

    def on(self, week_0_on: date) -> date:
        """The calendar day of that week, counted from the episode's week 0."""
        return week_0_on + timedelta(weeks=self.week)


def _std_error_with(weeks: Sequence[float], week: float, residual_sd: float, rule: StalledRule) -> float | None:
    errors = [
        slope_std_error([w for w in [*weeks, week] if w >= week - window], residual_sd)
        for window in (rule.window_weeks, rule.wide_window_weeks)
    ]
    narrow, wide = errors
    return narrow if narrow is not None and narrow <= rule.widest_slope_se else wide


def chance_gain_settles(
    gain: float, gain_se: float, needed: float, residual_sd: float, *, certain: float = 0.9
) -> float:
    """Chance (0-1) that after one more test P(gain ≥ needed) lies outside 1 − certain .. certain, given today's gain.

    All in cmH2O; needed = target + learning allowance. Takes the true level as unchanged until then: the new test
    tightens the gain to SE' with 1/SE'² = 1/SE² + 1/σ², and its mean moves by a normal of variance SE² − SE'².
    """
    after = 1 / sqrt(1 / gain_se**2 + 1 / residual_sd**2)
    moves, reach = sqrt(gain_se**2 - after**2), float(ndtri(certain)) * after
    distance = gain - needed
    return float(ndtr((-reach - distance) / moves) + ndtr((distance - reach) / moves))


def next_test(
    weeks: Sequence[float], residual_sd: float, *, look_week: float, rule: StalledRule, target: float | None = None,
    gain: float | None = None, gain_se: float | None = None, allowance: float = 0.0,
) -> NextTest | None:  # fmt: skip
    """Plan one more test after ``look_week``: the earliest whole week at which the slope can be judged.

    weeks: the comparable tests so far. Where the slope can be judged already (the gain is what is unclear), the
    person's usual gap between tests is kept. None if no single test within 24 weeks is enough.
    """
    if not weeks:
        return None
    earliest = max(ceil(look_week), ceil(max(weeks))) + 1
    today = _std_error_with(weeks[:-1], max(weeks), residual_sd, rule) if len(weeks) > 1 else None
    if today is not None and today <= rule.widest_slope_se:
        usual = median(later - earlier for earlier, later in pairwise(sorted(weeks)))
        earliest = max(earliest, round(max(weeks) + usual))
    for week in range(earliest, earliest + HORIZON_WEEKS):
        error = _std_error_with(weeks, week, residual_sd, rule)
        if error is not None and error <= rule.widest_slope_se:
            power = None if target is None else power_if_flat(error, pace=target / rule.pace_weeks, z=rule.slope_z)
            chance = None
            if gain is not None and gain_se and target is not None:
                chance = chance_gain_settles(gain, gain_se, target + allowance, residual_sd, certain=rule.certain)
            return NextTest(week, error, power, chance)
    return None
