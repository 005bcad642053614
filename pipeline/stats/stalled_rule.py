"""Every threshold of the stalled rule in one frozen place, and the words it can answer with."""

from dataclasses import dataclass
from types import MappingProxyType

from pipeline.settings import Settings

FALLING = "falling"
STALLED = "stalled"
LEVELLED_OFF = "levelled off"
IMPROVING = "improving"
CANNOT_TELL = "can't tell yet"
NOT_ASSESSABLE = "not assessable"
STATES = (FALLING, STALLED, CANNOT_TELL, LEVELLED_OFF, IMPROVING, NOT_ASSESSABLE)
"""In order of checking: falling heads the list, "levelled off" is maintenance and no problem."""

RAISE = "raise"
AIMS_WITHOUT_GAIN = frozenset({"hold", "slow_a_fall"})
PROGRESSIVE_CONDITIONS = frozenset({"neuromuscular", "parkinson"})
"""Condition groups in which no question about a higher load is asked; a choice of ours, on the careful side."""

FALSE_FALLING_SHARE = MappingProxyType(
    {
        (2, 12): (0.047, 0.073),
        (2, 24): (0.052, 0.276),
        (2, 52): (0.053, 0.608),
        (4, 12): (0.050, 0.050),
        (4, 24): (0.050, 0.178),
        (4, 52): (0.049, 0.427),
    }
)
"""(weeks between tests, weeks of follow-up) -> share of unchanged people called falling: at one look at the end, and at
a look after every test. To be printed where "falling" is checked at every load. Measured by
tests/studies/falling_looks.py (20,000 people a row)."""


@dataclass(frozen=True)
class StalledRule:
    """Thresholds of "gain first, then slope". Where no source is named the value is a choice of ours.

    certain: probability needed to call a gain little or enough, and a slope rising (0-1).
    slope_z: 1.645, one-sided 5 % of the normal distribution. widest_slope_se: cmH2O a week; wider is not judged.
    window_weeks, wide_window_weeks: the slope window, and the one used where the first is too uncertain.
    target_mip_cmh2o: 17, Iwakura 2021 (PMC8111409: 17.2-17.6 in COPD, distribution-based). target_mep_cmh2o: None,
    no published value found. allowance_cmh2o: part of a gain taken as learning where the baseline was a first-ever
    test: 4.5 = half of the +9 of Larson 1993 (Chest 104:448-53); 0 and 9 are the other two sizes to show.
    familiar_tests: earlier test days after which nothing is left to learn. pace_weeks: weeks in which the target is
    due; target/pace_weeks is the slope that power_if_flat rules out. logged_pct: weeks logged before low dose may be a
    reason. low_dose_pct, over_dose_pct: session adherence. outside_band_pct: share of rated sessions under or over the
    effort band that counts. effort_fall: points by which effort must have fallen, setting unchanged, to ask about room
    to progress. quiet_days: days after a stop, event or pause without a question about a higher load. low_power:
    power_if_flat under which tests count as too few. goal_days: test days on which a goal must be reached.
    """

    certain: float = 0.9
    slope_z: float = 1.645
    widest_slope_se: float = 1.26
    window_weeks: float = 12.0
    wide_window_weeks: float = 24.0
    target_mip_cmh2o: float | None = 17.0
    target_mep_cmh2o: float | None = None
    allowance_cmh2o: float = 4.5
    familiar_tests: int = 3
    pace_weeks: float = 12.0
    logged_pct: float = 75.0
    low_dose_pct: float = 50.0
    over_dose_pct: float = 120.0
    outside_band_pct: float = 50.0
    effort_fall: float = 1.0
    quiet_days: int = 28
    low_power: float = 0.5
    goal_days: int = 2

    def target_cmh2o(self, pressure: str) -> float | None:
        """Target gain of a pressure ("mip", "mep") in cmH2O; None where none is set."""
        return {"mip": self.target_mip_cmh2o, "mep": self.target_mep_cmh2o}.get(pressure)

    def allowance_after(self, earlier_test_days: int) -> float:
        """Learning allowance in cmH2O for a baseline that had ``earlier_test_days`` before it; 0 once familiar.

        In between it shrinks by 0.696 a test, the curve of pipeline.reference.learning (Larson 1993, fitted by us).
        """
        return 0.0 if earlier_test_days >= self.familiar_tests else self.allowance_cmh2o * 0.696**earlier_test_days


def rule_from(settings: Settings) -> StalledRule:
    """The rule as the settings of a run have it. A target of 0 in the settings means that none is set."""
    return StalledRule(
        certain=settings.stalled_probability,
        slope_z=settings.stalled_z,
        widest_slope_se=settings.stalled_slope_se,
        window_weeks=float(settings.stalled_window_weeks),
        wide_window_weeks=float(settings.stalled_wide_window_weeks),
        target_mip_cmh2o=settings.mip_target_gain_cmh2o or None,
        target_mep_cmh2o=settings.mep_target_gain_cmh2o or None,
        allowance_cmh2o=settings.learning_allowance_cmh2o,
        familiar_tests=settings.familiar_tests,
        logged_pct=settings.logged_share_for_dose_reason,
        low_dose_pct=settings.low_adherence_pct,
        over_dose_pct=settings.over_dose_pct,
        quiet_days=settings.quiet_days_after_event,
    )
