"""The 18 classes of direct identifiers of 45 CFR 164.514(b)(2)(i) and the kinds by which the gate tells them.

Source: Code of Federal Regulations, title 45, section 164.514(b)(2)(i), paragraphs (A) to (R).
"""

from __future__ import annotations

#: Letter of the paragraph -> (its subject, kinds of the gate). Kinds named "... key" are found in `client_key` only.
CLASSES: dict[str, tuple[str, tuple[str, ...]]] = {
    "A": ("names", ("name",)),
    "B": ("geographic subdivisions smaller than a state", ("address", "postal code", "place")),
    "C": ("dates but years, ages over 89", ("birth date", "date-like key")),
    "D": ("telephone numbers", ("telephone",)),
    "E": ("fax numbers", ("fax",)),
    "F": ("electronic mail addresses", ("e-mail",)),
    "G": ("social security numbers", ("social security number",)),
    "H": ("medical record numbers", ("record number", "sequential key")),
    "I": ("health plan beneficiary numbers", ("insurance number",)),
    "J": ("account numbers", ("account",)),
    "K": ("certificate and license numbers", ("licence",)),
    "L": ("vehicle identifiers, license plates included", ("vehicle",)),
    "M": ("device identifiers and serial numbers", ("device serial",)),
    "N": ("web universal resource locators", ("web address",)),
    "O": ("internet protocol address numbers", ("network address",)),
    "P": ("biometric identifiers, finger and voice prints included", ("biometric",)),
    "Q": ("full-face photographs and comparable images", ("picture",)),
    "R": ("any other unique identifying number, characteristic or code", ("other unique code",)),
}

#: A kind of the gate that is no class of its own: anything may stand in it.
FREE_TEXT = "free text"

#: Ages from here on are told as this one (class C: "all ages over 89 ... may be aggregated into ... age 90 or older").
OLDEST_TOLD_YEARS = 90
