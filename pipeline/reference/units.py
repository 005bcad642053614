"""Pressure units as data: how many cmH2O one unit is.

1 cmH2O (conventional) = 98.0665 Pa exactly: 1 cm of water of 1000 kg/m3 under standard gravity 9.80665 m/s2.
1 mmHg (conventional) = 133.322387415 Pa: 1 mm of mercury of 13595.1 kg/m3 under standard gravity.
1 kPa = 1000 Pa and 1 hPa = 100 Pa by the SI prefixes. Source: NIST Special Publication 811 (2008), appendix B.
"""

from types import MappingProxyType

STANDARD_GRAVITY_M_S2 = 9.80665
PASCAL = MappingProxyType(
    {
        "cmh2o": 0.01 * 1000 * STANDARD_GRAVITY_M_S2,
        "kpa": 1000.0,
        "mmhg": 0.001 * 13595.1 * STANDARD_GRAVITY_M_S2,
        "hpa": 100.0,
    }
)
"""Pascal per unit."""

FACTORS = MappingProxyType({unit: 1.0 if unit == "cmh2o" else pa / PASCAL["cmh2o"] for unit, pa in PASCAL.items()})
"""cmH2O per unit: value_cmh2o = value * FACTORS[unit]. cmh2o is exactly 1, so such values stay as they were."""


def to_cmh2o(value: float, unit: str) -> float:
    """Convert a pressure to cmH2O. A unit not in FACTORS raises ValueError: a unit is never guessed from size."""
    if unit not in FACTORS:
        raise ValueError(f"unit: expected one of {', '.join(FACTORS)}; a unit is never guessed from the value's size")
    return value * FACTORS[unit]
