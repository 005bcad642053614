"""What the intake takes from standards: serial days of workbooks, unit factors, Unicode normalisation."""

from __future__ import annotations

import unicodedata
from datetime import date
from fractions import Fraction

import pytest

from pipeline.contract import TABLES
from pipeline.ingest.days import day_of_serial
from pipeline.ingest.maps_units import FACTORS, converted
from pipeline.ingest.raw import Unreadable, check_headings, plain
from pipeline.reference import units


@pytest.mark.parametrize(("serial", "day"), [
    # Microsoft, "DATE function" and "DATEVALUE function": January 1, 2008 is serial number 39448, because it is 39,447
    # days after January 1, 1900; DATEVALUE("8/22/2011") = 40777, ("22-MAY-2011") = 40685, ("2011/02/23") = 40597.
    ("39448", "2008-01-01"), ("40777", "2011-08-22"), ("40685", "2011-05-22"), ("40597", "2011-02-23"),
    # ECMA-376 part 1, 18.17.4.1: the 1900 system ends with 9999-12-31 = 2958465; counted back to the contract's range
    (str(2958465 - (date.max - date(2100, 12, 31)).days), "2100-12-31"), ("40777.0", "2011-08-22"),
])
def test_days_of_the_1900_system(serial, day):
    assert day_of_serial(serial) == day


def test_days_of_the_1904_system():
    # Microsoft, "Date systems in Excel": July 5, 2011 is 40729 in the 1900 system and 39267 in the 1904 system; the
    # systems lie 1,462 days apart
    assert day_of_serial("40729") == day_of_serial("39267", counts_from_1904=True) == "2011-07-05"


# NIST Special Publication 811 (2008), appendix B.8 (bold figures are exact)
EXACT = {("cm", "in"): "2.54", ("kg", "lb"): "0.45359237", ("s", "min"): "60", ("cm", "m"): "100"}
TO_PASCAL = {"cmh2o": "98.0665", "mmhg": "133.322387415", "kpa": "1000", "hpa": "100"}


@pytest.mark.parametrize(("pair", "factor"), EXACT.items())
def test_exact_factors(pair, factor):
    assert FACTORS[pair[0]][pair[1]] == Fraction(factor)


@pytest.mark.parametrize(("unit", "pascal"), TO_PASCAL.items())
def test_pressure_factors(unit, pascal):
    assert FACTORS["cmH2O"][unit] * Fraction("98.0665") == Fraction(pascal)
    assert float(FACTORS["cmH2O"][unit]) == pytest.approx(units.FACTORS[unit], rel=1e-12)  # the store's own factors


def test_a_pressure_in_kpa_and_back_is_itself():
    for tenths in range(1, 4001):
        value = Fraction(tenths, 10)
        in_kpa = f"{float(value * Fraction('0.0980665')):.10f}"
        assert Fraction(converted(in_kpa, FACTORS["cmH2O"]["kpa"])) == value


# Unicode Standard Annex 15, figures 3 to 5: singletons, canonical composites, multiple combining marks
FORMS_C = [("\u212b", "\u00c5"), ("\u2126", "\u03a9"), ("A\u030a", "\u00c5"), ("o\u0302", "\u00f4"),
           ("s\u0323\u0307", "\u1e69"), ("d\u0323\u0307", "\u1e0d\u0307"), ("q\u0307\u0323", "q\u0323\u0307")]


@pytest.mark.parametrize(("given", "form_c"), FORMS_C)
def test_headings_are_compared_in_normalisation_form_c(given, form_c):
    assert plain(f" {given}\u00a0\n1") == f"{form_c} 1" == unicodedata.normalize("NFC", f"{form_c} 1")


def test_a_heading_in_two_spellings_is_one_heading():
    with pytest.raises(Unreadable, match="column 2"):
        check_headings("t.csv", "tests", ["Gr\u00f6\u00dfe", "Gro\u0308\u00dfe"])


def test_only_columns_of_one_fixed_unit_can_be_converted():
    fixed = {c.unit for t in TABLES.values() for c in t.columns} & set(FACTORS)
    assert fixed == set(FACTORS)
