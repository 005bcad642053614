"""Planted client kinds: people whose state and reason a reader of the stalled list should find.

They obey the same model as everybody, so that it still recovers its truth: what makes a kind is a slope of its own (a
value of the random slope that takes the rise out again), an added path where that is not enough, a dose, or a log.
"""

from __future__ import annotations

from dataclasses import dataclass

NO_PATH = ((0.0, 0.0), (52.0, 0.0))


@dataclass(frozen=True)
class Kind:
    """One planted kind.

    slope: cmH2O per 12 weeks left to dose, effort and the person's own slope together. path: (week, cmH2O) points added
    to the MIP, straight between them. The MEP gets 1.2 times both. states: the states of the stalled rule that are
    right for it; reason: a reason that must be found for it (empty: there is nothing to explain).
    """

    name: str
    n: int
    states: tuple[str, ...]
    reason: str = ""
    slope: float = 0.0
    path: tuple[tuple[float, float], ...] = NO_PATH
    adherence: float = 0.80
    in_band: float = 0.68
    source: str = "sessions"
    diary_lost: float = 0.0
    ill_week: int | None = None
    ill_weeks: int = 5
    eased_share: float = 0.0
    site: str = ""
    protocol: str = ""
    goal_over_baseline: float | None = None
    weeks_before_end: int = 25


KINDS = (
    Kind("stalled", 3, ("stalled",), "as_planned", slope=-3.0),
    Kind("falling", 3, ("falling",), "as_planned", path=((0.0, 0.0), (10.0, 2.0), (26.0, -24.0))),
    Kind("low_dose", 3, ("stalled",), "low_dose", slope=-3.0, adherence=0.30, protocol="steady_30"),
    Kind("unlogged", 3, ("stalled",), "diaries_missing", slope=-3.0, source="diary", diary_lost=0.6),
    Kind("ill", 3, ("stalled",), "illness_pause_or_event", slope=-1.0, ill_week=13),
    Kind("eased", 3, ("stalled",), "eased_settings", slope=-3.0, eased_share=0.45),
    Kind("gauge_changed", 3, ("stalled", "falling"), "test_changed", slope=1.0, site="mill"),
    Kind("goal_reached", 3, ("levelled off",), path=((0.0, 0.0), (10.0, 9.0), (52.0, 9.0)), goal_over_baseline=7.0),
    Kind("levelled_off", 3, ("levelled off",), path=((0.0, 0.0), (9.0, 34.0), (52.0, 34.0))),
    Kind("too_light", 3, ("stalled",), "effort_under_band", slope=-3.0, in_band=0.08, protocol="firm_5x6"),
    Kind("improving", 4, ("improving",), slope=18.0),
)
