"""Exact factors from units that exports use to the unit of a contract column. A unit is declared and never guessed.

Pressure: 1 cmH2O = 98.0665 Pa, 1 mmHg = 133.322387415 Pa (conventional), kPa and hPa by the SI prefixes; inch = 2.54 cm
and pound = 0.45359237 kg exactly. Source: NIST Special Publication 811 (2008), appendix B.
"""

from __future__ import annotations

import re
from decimal import ROUND_HALF_EVEN, Decimal, localcontext
from fractions import Fraction
from types import MappingProxyType

from pipeline.contract import SPELLING, Table

_CMH2O_PA = Fraction("98.0665")

#: Unit of a contract column -> unit of an export -> factor.
FACTORS: MappingProxyType[str, dict[str, Fraction]] = MappingProxyType({
    "cmH2O": {"cmh2o": Fraction(1), "kpa": 1000 / _CMH2O_PA, "hpa": 100 / _CMH2O_PA,
              "mmhg": Fraction("133.322387415") / _CMH2O_PA},
    "cm": {"cm": Fraction(1), "m": Fraction(100), "mm": Fraction(1, 10), "in": Fraction("2.54")},
    "kg": {"kg": Fraction(1), "g": Fraction(1, 1000), "lb": Fraction("0.45359237")},
    "s": {"s": Fraction(1), "min": Fraction(60)},
    "%": {"%": Fraction(1), "share": Fraction(100)},
})

#: Decimals that a converted value keeps.
DECIMALS = 6

_NUMBER = re.compile(SPELLING["number"])


def unit_of(table: Table, name: str, unit: str) -> Fraction | str:
    """Return the factor from `unit` to the unit of a column, or a sentence that says why there is none."""
    known = FACTORS.get(table.column(name).unit)
    if known is None:
        told = " (the column 'unit' says it: fill that)" if (table.name, name) == ("tests", "value") else ""
        return f"'{name}' has no unit to convert to{told}"
    return known.get(unit.casefold()) or f"'{name}' can be converted from {', '.join(known)}"


def converted(text: str, factor: Fraction) -> str:
    """Return a number in the other unit, rounded to DECIMALS places (half to even); text that is no number as it is."""
    if not _NUMBER.fullmatch(text):
        return text
    value = Fraction(text) * factor
    with localcontext() as context:
        context.prec = 40
        exact = Decimal(value.numerator) / Decimal(value.denominator)
        rounded = exact.quantize(Decimal(1).scaleb(-DECIMALS), rounding=ROUND_HALF_EVEN)
    return f"{rounded.normalize():f}"
