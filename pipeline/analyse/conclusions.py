"""What a number lets one conclude, and whether another analysis would let one conclude otherwise.

Three things: whether the 95 % interval leaves 0 out, the sign of the estimate, and whether the estimate is as large as
the smallest worthwhile one of the settings.
"""

from __future__ import annotations

from math import isfinite

from pipeline.analyse.choice import DIFFERENCE, DOSE, Target
from pipeline.settings import Settings
from pipeline.stats import Contrast


def worthwhile(target: Target, pressure: str, settings: Settings) -> float | None:
    """Smallest worthwhile size of a target in cmH2O: of a difference and of dose per ten points; None: none is set."""
    of_pressure = settings.mip_worthwhile_cmh2o if pressure == "mip" else settings.mep_worthwhile_cmh2o
    known = {DIFFERENCE: of_pressure, DOSE: settings.widest_per_10_points_cmh2o}
    return known.get(target.statistic) or None


def holds_nothing(found: Contrast) -> bool:
    """True where the interval holds 0."""
    return found.low <= 0.0 <= found.high


def conclusion(found: Contrast, least: float | None) -> str:
    """The conclusion in words, without numbers. least: the smallest worthwhile size, where one is set."""
    way = "above 0" if found.estimate > 0 else "below 0"
    first = f"the estimate is {way} and its interval " + ("holds 0" if holds_nothing(found) else "leaves 0 out")
    if least is None:
        return first
    size = "at least" if abs(found.estimate) >= least else "smaller than"
    return f"{first}; it is {size} the smallest worthwhile one"


def changes(now: Contrast, primary: Contrast, least: float | None) -> list[str]:
    """What is concluded otherwise than by the primary analysis; empty where nothing is."""
    if not all(map(isfinite, (now.estimate, now.low, now.high))):
        return []
    said = []
    if now.estimate * primary.estimate < 0:
        said.append("the sign turns")
    if holds_nothing(now) != holds_nothing(primary):
        said.append("the interval holds 0" if holds_nothing(now) else "the interval leaves 0 out")
    if least is not None and (abs(now.estimate) >= least) != (abs(primary.estimate) >= least):
        larger = abs(now.estimate) >= least
        said.append("the estimate reaches the smallest worthwhile one" if larger else
                    "the estimate falls under the smallest worthwhile one")
    return said
