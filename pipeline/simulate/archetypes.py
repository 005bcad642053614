"""Planted client kinds: courses drawn by hand, whose state and reason a reader of the stalled list should find."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Kind:
    """One planted kind. `path` holds (week, gain in cmH2O) points of the true MIP, straight between them; the MEP
    follows at the same multiples. `states` are the states of the stalled rule that are right for it."""

    name: str
    n: int
    path: tuple[tuple[float, float], ...]
    states: tuple[str, ...]
    reason: str
    adherence: float = 0.92
    in_band: float = 0.85
    source: str = "sessions"
    diary_lost: float = 0.0
    ill_week: int | None = None
    ill_weeks: int = 5
    eased_share: float = 0.0
    site: str = ""
    protocol: str = ""
    goal_over_baseline: float | None = None
    weeks_before_end: int = 25


FLAT = ((0.0, 0.0), (52.0, 0.0))

KINDS = (
    Kind("stalled", 3, FLAT, ("stalled",), "as_planned"),
    Kind("falling", 3, ((0.0, 0.0), (10.0, 4.0), (26.0, -24.0)), ("falling",), "as_planned"),
    Kind("low_dose", 3, FLAT, ("stalled",), "low_dose", adherence=0.30),
    Kind("unlogged", 3, FLAT, ("stalled",), "diaries_missing", source="diary", diary_lost=0.6),
    Kind("ill", 3, ((0.0, 0.0), (12.0, 2.0), (18.0, -2.0), (52.0, -2.0)), ("stalled",), "illness_pause_or_event",
         ill_week=13),
    Kind("eased", 3, FLAT, ("stalled",), "eased_settings", eased_share=0.45),
    Kind("gauge_changed", 3, ((0.0, 0.0), (14.0, 4.0), (52.0, 4.0)), ("stalled", "falling"), "the_test_changed",
         site="mill"),
    Kind("goal_reached", 3, ((0.0, 0.0), (12.0, 18.0), (52.0, 18.0)), ("levelled off",), "goal_reached",
         goal_over_baseline=9.0),
    Kind("levelled_off", 3, ((0.0, 0.0), (9.0, 36.0), (52.0, 36.0)), ("levelled off",), "target_gained"),
    Kind("too_light", 2, FLAT, ("stalled",), "effort_under_band", in_band=0.08, protocol="firm_5x6"),
)
