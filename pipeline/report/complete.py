"""Makes a result speak for itself outside the pages: a unit and a way of getting it beside every number."""

from __future__ import annotations

from dataclasses import replace

from pipeline.analyse.definitions import defined
from pipeline.report.look import part
from pipeline.results import Result

UNITS_OF_NAMES = {"_years": "years", "_cmh2o": "cmH2O", "_pct": "%", "_pct_predicted": "%", "_weeks": "weeks"}


def unit_of(result: Result) -> str:
    """The unit of a number whose row names none: that of its covariate, else the one of its definition."""
    covariate = part(result, "covariate")
    for ending, unit in UNITS_OF_NAMES.items():
        if covariate.endswith(ending):
            return unit
    definition = defined(result.key)
    return definition.unit if definition is not None and definition.unit else "none"


def completed(result: Result) -> Result:
    """The result with its unit, and with its definition's formula where it says neither n nor method."""
    if result.value is None and result.low is None and result.high is None:
        return result
    method = result.method
    if result.value is not None and not method and result.n is None and (definition := defined(result.key)) is not None:
        method = definition.formula
    return replace(result, unit=result.unit or unit_of(result), method=method)
