"""Published yardsticks for what stands beside the pressures: a change that people notice, a level that carries a risk.

Only what was read in the named source is held. Nothing of the kind is held for mMRC, phonation time, oral intake or
goal attainment, nor for walking after stroke, spinal cord injury, in neuromuscular disease or Parkinson's disease.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class ImportantChange:
    """Smallest change that people notice (against anchors; not a detectable change), in the measure's unit."""

    measure: str
    population: str
    condition_groups: tuple[str, ...]
    value: float
    low: float
    high: float
    citation: str


@dataclass(frozen=True)
class RiskLevel:
    """A level below which the measure is said to carry a risk, in the measure's unit."""

    measure: str
    below: float
    meaning: str
    citation: str


WALK = "Eur Respir Rev 2025;34:240198, meta-analysis of anchor-based studies, 95 % interval"
COUGH = "review of peak cough flow, Respir Care 2023 (abstract)"

IMPORTANT_CHANGES = (
    ImportantChange("six_minute_walk_m", "respiratory", ("copd", "other_obstructive", "post_viral"), 25.0, 24.0, 26.0,
                    WALK),
    ImportantChange("six_minute_walk_m", "cardiac", ("heart_failure",), 23.0, 8.0, 37.0, WALK),
)  # fmt: skip
RISK_LEVELS = (
    RiskLevel("peak_cough_flow_l_min", 160.0, "cough ineffective", COUGH),
    RiskLevel("peak_cough_flow_l_min", 270.0, "secretions retained, risk of infection", COUGH),
)
