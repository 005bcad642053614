"""How much one person's efforts of one day differ: what the best of more efforts gains by number alone."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class WithinDay:
    """Typical error of one pressure within a day: in cmH2O, and in percent of the value; both as printed."""

    pressure: str
    typical_error_cmh2o: float
    percent: float
    n: int
    citation: str


SOURCE = "test-retest study of 70 people, Fisioterapia Brasil 2019-20 (abstract): typical error within a day"

WITHIN_DAY: dict[str, WithinDay] = {
    "mip": WithinDay("mip", 6.71, 6.0, 70, SOURCE),
    "mep": WithinDay("mep", 10.92, 8.0, 70, SOURCE),
}


def effort_sd_cmh2o(pressure: str, level_cmh2o: float) -> float:
    """SD between one person's efforts of a day at a level of pressure, in cmH2O: the printed percent of the level."""
    return WITHIN_DAY[pressure].percent / 100.0 * level_cmh2o
