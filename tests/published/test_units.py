"""Unit factors against their definitions and the handbook values, and an odd-size trap."""

import pytest

from pipeline.reference.units import FACTORS, PASCAL, to_cmh2o


@pytest.mark.parametrize(
    ("unit", "pascal"),
    # NIST SP 811 (2008), appendix B.8: conventional centimetre of water 98.0665 Pa, conventional millimetre of mercury
    # 133.3224 Pa (7 digits); SI prefixes for the others.
    [("cmh2o", 98.0665), ("mmhg", 133.3224), ("kpa", 1000.0), ("hpa", 100.0)],
)
def test_pascal_per_unit(unit, pascal):
    assert PASCAL[unit] == pytest.approx(pascal, rel=5e-7)


@pytest.mark.parametrize(
    ("unit", "factor"), [("cmh2o", 1.0), ("kpa", 10.1972), ("mmhg", 1.35951), ("hpa", 1.01972)]
)  # usual conversion tables, 6 digits
def test_cmh2o_per_unit(unit, factor):
    assert FACTORS[unit] == pytest.approx(factor, rel=5e-6)


def test_mercury_factor_is_the_ratio_of_densities():
    # Same gravity on both sides: 1 mmHg / 1 cmH2O = 0.1 * 13595.1 / 1000 exactly.
    assert FACTORS["mmhg"] == pytest.approx(1.35951, rel=1e-12)


def test_cmh2o_stays_bit_for_bit():
    assert to_cmh2o(83.7, "cmh2o") == 83.7


@pytest.mark.parametrize("unit", ["", "cmH2O", "bar", "psi"])
def test_an_unknown_unit_is_refused(unit):
    with pytest.raises(ValueError, match="never guessed"):
        to_cmh2o(80.0, unit)
