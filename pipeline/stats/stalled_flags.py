"""How often the stalled rule flags people of known kinds: the table a worklist prints beside itself.

Measured, not derived: tests/studies/stalled_rule.py, 40 cohorts of 240, seed 20260401, error of one test 8 cmH2O and
constant, SD of the level 20, one look at week 24, the default StalledRule. The study's results also hold an error that
grows with the level, and every other state.
"""

from dataclasses import dataclass

STUDY_COMMAND = "python -m tests.studies.stalled_rule --cohorts 40 --seed 20260401"


@dataclass(frozen=True)
class FlaggedShare:
    """Share (0-1) of one kind of people called stalled, by testing rhythm.

    kind: the true course of the pressure by training (cmH2O a week; "saturating" ends 22 cmH2O up). learning: how much
    of 13.6·(1 − 0.696^(k−1)) cmH2O of learning is truly there at test k ("none", "half", "full"). allowance_cmh2o: what
    the rule takes off for it.
    """

    kind: str
    learning: str
    allowance_cmh2o: float
    two_weekly: float
    four_weekly: float
    gaps_2_to_6_weeks: float


FLAGGED_SHARES: tuple[FlaggedShare, ...] = (
    FlaggedShare("steady 1.42/wk", "none", 0.0, 0.00, 0.00, 0.00),
    FlaggedShare("steady 1.42/wk", "none", 4.5, 0.00, 0.00, 0.01),
    FlaggedShare("steady 1.42/wk", "none", 9.0, 0.01, 0.01, 0.04),
    FlaggedShare("steady 1.42/wk", "half", 0.0, 0.00, 0.00, 0.00),
    FlaggedShare("steady 1.42/wk", "half", 4.5, 0.00, 0.00, 0.00),
    FlaggedShare("steady 1.42/wk", "half", 9.0, 0.00, 0.00, 0.00),
    FlaggedShare("steady 1.42/wk", "full", 0.0, 0.00, 0.00, 0.00),
    FlaggedShare("steady 1.42/wk", "full", 4.5, 0.00, 0.00, 0.00),
    FlaggedShare("steady 1.42/wk", "full", 9.0, 0.00, 0.00, 0.00),
    FlaggedShare("slow 0.5/wk", "none", 0.0, 0.12, 0.06, 0.10),
    FlaggedShare("slow 0.5/wk", "none", 4.5, 0.37, 0.24, 0.32),
    FlaggedShare("slow 0.5/wk", "none", 9.0, 0.61, 0.53, 0.57),
    FlaggedShare("slow 0.5/wk", "half", 0.0, 0.01, 0.00, 0.01),
    FlaggedShare("slow 0.5/wk", "half", 4.5, 0.06, 0.04, 0.06),
    FlaggedShare("slow 0.5/wk", "half", 9.0, 0.23, 0.16, 0.23),
    FlaggedShare("slow 0.5/wk", "full", 0.0, 0.00, 0.00, 0.00),
    FlaggedShare("slow 0.5/wk", "full", 4.5, 0.00, 0.00, 0.00),
    FlaggedShare("slow 0.5/wk", "full", 9.0, 0.02, 0.02, 0.03),
    FlaggedShare("saturating", "none", 0.0, 0.02, 0.01, 0.01),
    FlaggedShare("saturating", "none", 4.5, 0.11, 0.07, 0.08),
    FlaggedShare("saturating", "none", 9.0, 0.37, 0.25, 0.29),
    FlaggedShare("saturating", "half", 0.0, 0.00, 0.00, 0.00),
    FlaggedShare("saturating", "half", 4.5, 0.01, 0.00, 0.00),
    FlaggedShare("saturating", "half", 9.0, 0.04, 0.03, 0.05),
    FlaggedShare("saturating", "full", 0.0, 0.00, 0.00, 0.00),
    FlaggedShare("saturating", "full", 4.5, 0.00, 0.00, 0.00),
    FlaggedShare("saturating", "full", 9.0, 0.00, 0.00, 0.00),
    FlaggedShare("rose 12 wk, then flat", "none", 0.0, 0.02, 0.01, 0.02),
    FlaggedShare("rose 12 wk, then flat", "none", 4.5, 0.14, 0.10, 0.14),
    FlaggedShare("rose 12 wk, then flat", "none", 9.0, 0.44, 0.35, 0.36),
    FlaggedShare("rose 12 wk, then flat", "half", 0.0, 0.00, 0.00, 0.00),
    FlaggedShare("rose 12 wk, then flat", "half", 4.5, 0.01, 0.01, 0.01),
    FlaggedShare("rose 12 wk, then flat", "half", 9.0, 0.07, 0.06, 0.07),
    FlaggedShare("rose 12 wk, then flat", "full", 0.0, 0.00, 0.00, 0.00),
    FlaggedShare("rose 12 wk, then flat", "full", 4.5, 0.00, 0.00, 0.00),
    FlaggedShare("rose 12 wk, then flat", "full", 9.0, 0.00, 0.00, 0.00),
    FlaggedShare("flat", "none", 0.0, 0.63, 0.41, 0.42),
    FlaggedShare("flat", "none", 4.5, 0.82, 0.67, 0.71),
    FlaggedShare("flat", "none", 9.0, 0.85, 0.82, 0.84),
    FlaggedShare("flat", "half", 0.0, 0.19, 0.10, 0.10),
    FlaggedShare("flat", "half", 4.5, 0.49, 0.33, 0.32),
    FlaggedShare("flat", "half", 9.0, 0.73, 0.63, 0.64),
    FlaggedShare("flat", "full", 0.0, 0.02, 0.01, 0.01),
    FlaggedShare("flat", "full", 4.5, 0.09, 0.04, 0.06),
    FlaggedShare("flat", "full", 9.0, 0.33, 0.22, 0.25),
)


def flagged_shares(allowance_cmh2o: float) -> tuple[FlaggedShare, ...]:
    """The rows measured with the allowance nearest to the one in force (0, 4.5 or 9 cmH2O), 15 of them."""
    nearest = min((0.0, 4.5, 9.0), key=lambda size: abs(size - allowance_cmh2o))
    return tuple(row for row in FLAGGED_SHARES if row.allowance_cmh2o == nearest)
