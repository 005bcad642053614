"""What a published prediction equation is, here: one pressure, one unit, one age range, one source."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from math import isfinite
from types import MappingProxyType

LOWER_LIMIT_Z = 1.645
"""Standard normal 5th percentile as printed in the trade: LLN = predicted − 1.645·SEE."""

Predict = Callable[[str | None, float | None, float | None, float | None], float | None]


@dataclass(frozen=True)
class Equation:
    """A published equation for the pressure of a healthy person.

    ``predict(sex, age_years, height_cm, weight_kg)`` returns cmH2O, or None outside ``ages_years`` (both ends
    included), for a sex other than female or male, and where an input it needs is missing: never a guess.
    ``see_cmh2o`` is the standard error of the estimate by sex; empty where the paper's was not read.
    ``status`` is "confirmed" (coefficients and SEE read in the source) or says what is assumed.
    """

    id: str
    pressure: str
    citation: str
    doi: str | None
    ages_years: tuple[float, float]
    predict: Predict
    see_cmh2o: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    status: str = "confirmed"
    unit: str = "cmH2O"

    def lower_limit_cmh2o(self, sex: str | None, predicted_cmh2o: float | None) -> float | None:
        """Lower limit of normal (5th percentile), predicted − 1.645·SEE in cmH2O; None without a SEE."""
        see = self.see_cmh2o.get(sex or "")
        return None if see is None or predicted_cmh2o is None else predicted_cmh2o - LOWER_LIMIT_Z * see


def given(*values: float | None) -> bool:
    """True if every value is there and a finite number above 0: no body has a height, weight or age of 0."""
    return all(value is not None and isfinite(value) and value > 0 for value in values)


def within(age_years: float | None, ages_years: tuple[float, float]) -> bool:
    """True if the age is known and inside the range of the people the equation was fitted to."""
    return age_years is not None and ages_years[0] <= age_years <= ages_years[1]
