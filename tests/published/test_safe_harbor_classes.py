"""The 18 classes of 45 CFR 164.514(b)(2)(i) against the gate: each paragraph by a value or heading of its own subject.

Source: Code of Federal Regulations, title 45, section 164.514(b)(2)(i)(A) to (R), as published by the Office of the
Federal Register; the ages of paragraph (C): "all ages over 89 and all elements of dates (including year) indicative of
such age, except that such ages and elements may be aggregated into a single category of age 90 or older".
"""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.contract import TABLES
from pipeline.identity import findings
from pipeline.identity.classes import CLASSES, OLDEST_TOLD_YEARS

#: Paragraph -> heading and value as the regulation's words put them.
PLANTS = {
    "A": ("Names", "Jane Roe"), "B": ("street address", "12 Elm Street"), "C": ("birth date", "1931-04-05"),
    "D": ("Telephone numbers", "(202) 555-0143"), "E": ("Fax numbers", "(202) 555-0143"),
    "F": ("Electronic mail addresses", "jane@example.org"), "G": ("Social security numbers", "078-05-1120"),
    "H": ("Medical record numbers", "00482133"), "I": ("Health plan beneficiary numbers", "1EG4-TE5-MK73"),
    "J": ("Account numbers", "GB33BUKB20201555555555"), "K": ("Certificate/license numbers", "D1234567"),
    "L": ("Vehicle identifiers and serial numbers", "1HGCM82633A004352"),
    "M": ("Device identifiers and serial numbers", "SN48213377"), "N": ("Web URLs", "https://example.org/jane"),
    "O": ("IP address numbers", "192.0.2.44"), "P": ("Biometric identifiers", "voice_0001.wav"),
    "Q": ("Full-face photographs", "face.jpg"),
    "R": ("unique identifying number", "3f2504e0-4f89-11d3-9a0c-0305e82c3301"),
}


def test_every_paragraph_has_a_kind_and_a_plant() -> None:
    assert list(CLASSES) == list("ABCDEFGHIJKLMNOPQR") == list(PLANTS)


@pytest.mark.parametrize("letter", list(PLANTS))
def test_a_column_named_as_in_the_regulation_is_refused(letter: str) -> None:
    heading, value = PLANTS[letter]
    found = findings([heading], pl.DataFrame({heading: [value]}))
    assert found and value not in str(found)


def test_ages_over_89_are_told_as_90_or_older() -> None:
    age = TABLES["clients"].column("age_years")
    assert age.high == OLDEST_TOLD_YEARS == 90
