"""The slope of a person's last weeks, with the error of the whole cohort's tests, and what it could have shown."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

from scipy.special import ndtr, ndtri


@dataclass(frozen=True)
class WindowSlope:
    """Least-squares slope of the tests in a window, in cmH2O a week, and its SE from the pooled error."""

    slope: float
    std_error: float
    tests: int
    first_week: float
    last_week: float
    window_weeks: float


def sd_at_level(residual_sd: float, level: float, reference_level: float, power: float) -> float:
    """Residual SD in cmH2O at a pressure level: residual_sd·(level/reference_level)^power; levels in cmH2O above 0.

    Power 0 is a constant error. The level should be the person's mean, not the single test, or low tests would
    count for too much.
    """
    return residual_sd * float((level / reference_level) ** power)


def slope_std_error(weeks: Sequence[float], residual_sds: float | Sequence[float]) -> float | None:
    """SE in cmH2O a week of the least-squares slope over these weeks; None below two distinct weeks.

    One SD for all tests: σ/√Sxx. One SD a test: √(Σ (x−x̄)²·σ²)/Sxx, the slope itself staying unweighted. The SD is
    the cohort's pooled one, never the person's own: with three tests that would be a lottery.
    """
    n = len(weeks)
    sds = [residual_sds] * n if isinstance(residual_sds, int | float) else list(residual_sds)
    if n < 2:
        return None
    middle = sum(weeks) / n
    spread = sum((week - middle) ** 2 for week in weeks)
    noise = sum((week - middle) ** 2 * sd**2 for week, sd in zip(weeks, sds, strict=True))
    return sqrt(noise) / spread if spread > 0 else None


def window_slope(
    weeks: Sequence[float], values: Sequence[float], residual_sds: float | Sequence[float], *, window_weeks: float
) -> WindowSlope | None:
    """Slope over the tests of the last ``window_weeks`` (both ends included), counted back from the last test.

    weeks, values: one a test day, any order, cmH2O. None with fewer than two distinct weeks in the window.
    """
    if not weeks:
        return None
    first = max(weeks) - window_weeks
    sds = [residual_sds] * len(weeks) if isinstance(residual_sds, int | float) else list(residual_sds)
    rows = sorted((w, v, sd) for w, v, sd in zip(weeks, values, sds, strict=True) if w >= first)
    inside = [row[0] for row in rows]
    error = slope_std_error(inside, [row[2] for row in rows])
    if error is None:
        return None
    middle = sum(inside) / len(inside)
    spread = sum((week - middle) ** 2 for week in inside)
    slope = sum((week - middle) * value for week, value, _ in rows) / spread
    return WindowSlope(slope, error, len(rows), inside[0], inside[-1], window_weeks)


def chosen_slope(
    weeks: Sequence[float], values: Sequence[float], residual_sds: float | Sequence[float], *,
    window_weeks: float, wide_window_weeks: float, widest_se: float,
) -> WindowSlope | None:  # fmt: skip
    """The slope of the narrow window if its SE is at most ``widest_se``, else that of the wide window."""
    narrow = window_slope(weeks, values, residual_sds, window_weeks=window_weeks)
    if narrow is not None and narrow.std_error <= widest_se:
        return narrow
    return window_slope(weeks, values, residual_sds, window_weeks=wide_window_weeks) or narrow


def power_if_flat(std_error: float, *, pace: float, z: float = 1.645) -> float:
    """Chance (0-1) that a truly flat person's slope lies clearly below ``pace``: P(b + z·SE < pace) = Φ(pace/SE − z).

    pace and std_error in cmH2O a week. What the tests at hand could have shown; it stands beside every verdict.
    """
    return float(ndtr(pace / std_error - z))


def power_if_on_pace(std_error: float, *, pace: float, certain: float = 0.9) -> float:
    """Chance (0-1) that a person who truly rises at ``pace`` is called rising: P(P(slope > 0) ≥ certain)."""
    return float(ndtr(pace / std_error - ndtri(certain)))
