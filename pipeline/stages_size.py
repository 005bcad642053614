"""How many people and tests a comparison of two protocols needs: a table, from a store's spread or a stated one."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.errors import SettingsError
from pipeline.stages import Summary

if TYPE_CHECKING:
    from pipeline.stats.plan_size import Question, Size, Spread

TESTS = (2, 3, 4, 5, 7, 13)
"""Tests a person that are laid side by side: at the ends only, up to one a week over 12 weeks."""
HEADS = ("tests each", "people each", "people", "tests", "power", "df", "each, normal")


@dataclass(frozen=True)
class Asked:
    """What `plan-size` was asked; the spread None where the store is to give it."""

    difference: float
    weeks: float
    power: float
    alpha: float
    sides: int
    lost_pct: float
    pressure: str
    slope_sd: float | None
    test_sd: float | None
    tests: tuple[int, ...]


def _fault(what: str, expected: str) -> SettingsError:
    return SettingsError(what, where="plan-size", expected=expected, now="mend the option and run again")


def _checked(asked: Asked) -> None:
    """SettingsError for what cannot be asked."""
    if not abs(asked.difference) > 0:
        raise _fault("--difference is 0: no cohort finds nothing", "a difference in cmH2O above 0")
    if not 0.5 <= asked.power < 1 or not 0 < asked.alpha < 0.5:
        raise _fault("--power or --alpha is out of range", "a power of 0.5 to under 1, an alpha of over 0 to under 0.5")
    if not 0 <= asked.lost_pct < 100 or not asked.weeks > 0 or min(asked.tests) < 2:
        raise _fault("--lost, --weeks or --tests is out of range",
                     "0 to under 100 % lost, weeks above 0, two tests a person or more")
    if (asked.slope_sd is None) != (asked.test_sd is None):
        raise _fault("one of --slope-sd and --test-sd is missing", "both, or neither to take them from the store")
    if min(asked.slope_sd or 0.0, asked.test_sd or 0.0) < 0 or (asked.slope_sd == 0 and asked.test_sd == 0):
        raise _fault("--slope-sd or --test-sd is out of range", "no spread below 0, and not both 0")


def plan_size(asked: Asked, out: Path) -> Summary:
    """The table of sizes, one row for each number of tests a person."""
    from pipeline.stages_plan import spread_of
    from pipeline.stats.plan_size import Question, Spread, size
    _checked(asked)
    if asked.slope_sd is None or asked.test_sd is None:
        slope, test, people = spread_of(out, asked.pressure)
        spread, source = Spread(slope, test), f"this cohort's {asked.pressure.upper()} model, {people} people"
    else:
        spread, source = Spread(asked.slope_sd, asked.test_sd), "as stated"
    question = Question(asked.difference, asked.weeks, asked.power, asked.alpha, asked.sides, asked.lost_pct / 100)
    found = [(tests, size(question, spread, tests)) for tests in asked.tests]
    summary = Summary("plan-size")
    summary.lines = _lines(question, spread, source, found)
    summary.answer = {"question": asdict(question), "spread": asdict(spread) | {"source": source},
                      "sizes": [asdict(s) for _, s in found if s is not None]}  # fmt: skip
    return summary


def _lines(
    question: Question, spread: Spread, source: str, found: list[tuple[int, Size | None]]
) -> list[str]:
    sides = "one-sided" if question.sides == 1 else "two-sided"
    told = [f"Two protocols whose gains differ by {question.difference:g} cmH2O at {question.weeks:g} weeks: people "
            f"and tests for a power of {question.power:g},",
            f"{sides} {100 * question.alpha:g} %, t test of the slopes; {100 * question.lost:g} % of people never "
            "tested again.",
            f"Spread: {spread.slope_sd:.2f} cmH2O per 12 weeks between slopes, {spread.residual_sd:.2f} cmH2O between "
            f"tests ({source}).", "", "  ".join(f"{h:>12}" for h in HEADS)]  # fmt: skip
    for tests, one in found:
        cells = [str(tests), "over ten million"] if one is None else [
            str(tests), str(one.people_each), str(one.people), str(one.tests), f"{one.power:.3f}", str(one.df),
            f"{one.normal_each:.1f}"]  # fmt: skip
        told.append("  ".join(f"{c:>12}" for c in cells))
    return [*told, "", "each: in each protocol. normal: the formula 2 (z + z)^2 variance / difference^2, nobody lost. "
            "Tests evenly spaced, gains along",
            "straight lines, protocols met at the same sites: a model with more terms, or with site x time, needs more "
            "(see what the cohort can answer)."]  # fmt: skip
