"""Dose and gain: past-only dose, its between and within parts, the test for feedback, and when a headline is allowed.

An association between dose and gain is a headline only when D, between and within agree and the next interval's dose
tells nothing (lead test), and that test had power 0.8 or more to tell. "Associated with" is the strongest wording.
"""

from __future__ import annotations

from dataclasses import dataclass

from scipy.special import ndtr

from pipeline.analyse.fits import PressureModels
from pipeline.stats import Contrast

TEN_POINTS = 0.1
ALPHA, POWER = 0.05, 0.8
Z95 = 1.959964


@dataclass(frozen=True)
class Association:
    """Contrasts per 10 points of adherence over 12 weeks, in cmH2O, and what the headline rule says of them."""

    dose: Contrast | None
    dose_alone: Contrast | None
    between: Contrast | None
    within: Contrast | None
    lead: Contrast | None
    equal_p: float | None
    lead_power: float | None
    shown: bool
    why: tuple[str, ...]


def _equal_p(models: PressureModels) -> float | None:
    """p of the hypothesis that between and within are the same."""
    parts = models.working("parts")
    if parts is None or parts.look is None:
        return None
    found = parts.read(parts.look.term("between_dose") - parts.look.term("within_dose"))
    return None if found is None else found.p


def _power(lead: Contrast | None, dose: Contrast | None) -> float | None:
    """Power of the lead test, were the next interval's dose as strongly tied to the gain as the past dose seems."""
    if lead is None or dose is None or lead.std_error <= 0:
        return None
    shift = abs(dose.estimate) / lead.std_error
    return float(ndtr(shift - Z95) + ndtr(-shift - Z95))


def _reasons(
    dose: Contrast | None, between: Contrast | None, within: Contrast | None, lead: Contrast | None,
    equal_p: float | None, power: float | None,
) -> list[str]:  # fmt: skip
    """What stands in the way of a headline, each with what it usually means."""
    if dose is None or between is None or within is None or equal_p is None:
        return ["the three forms of dose could not all be fitted"]
    against = []
    if any(not part.low <= dose.estimate <= part.high for part in (between, within)):
        against.append("the association of past dose lies outside what is seen between or within people")
    if equal_p < ALPHA:
        against.append("between and within people differ: those who train more usually differ in other ways as well")
    if lead is None or power is None:
        against.append("the lead test could not be fitted")
    elif lead.p < ALPHA:
        against.append("the next interval's dose goes with the gain before it: people train more or less after seeing "
                       "a result, or something that varies moves both")
    elif power < POWER:
        against.append("the lead test finds nothing, but had too little power to find it")
    return against


def association(models: PressureModels) -> Association:
    """Dose three ways with the lead test and the headline rule, for one pressure."""
    primary, alone = models.working("primary"), models.working("dose_alone")
    parts, lead_fit = models.working("parts"), models.working("lead")
    dose = primary.term("dose_d", TEN_POINTS) if primary else None
    between = parts.term("between_dose", TEN_POINTS) if parts else None
    within = parts.term("within_dose", TEN_POINTS) if parts else None
    lead = lead_fit.term("lead_dose", TEN_POINTS) if lead_fit else None
    equal_p, power = _equal_p(models), _power(lead, dose)
    closed = models.gate is None or not models.gate.answers["dose"].is_open
    why = ["this cohort cannot answer the question of dose"] if closed else _reasons(
        dose, between, within, lead, equal_p, power)  # fmt: skip
    return Association(dose, alone.term("dose_d", TEN_POINTS) if alone else None, between, within, lead, equal_p,
                       power, not why, tuple(why))  # fmt: skip


