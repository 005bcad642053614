from __future__ import annotations

from random import Random

import polars as pl
import pytest

from pipeline.contract import TABLES
from pipeline.identity import findings, masked, shown_heading
from pipeline.identity.gate import LABELS
from pipeline.identity.headings import heading_kind

CONTRACT_HEADINGS = sorted({n for t in TABLES.values() for n in t.column_names})


def kinds(heading: str, *values: str | None) -> set[str]:
    frame = pl.DataFrame({heading: list(values)}, schema={heading: pl.String})
    return {f.kind for f in findings([heading], frame)}


@pytest.mark.parametrize(("heading", "kind"), [
    ("patient_name", "name"), ("Surname", "name"), ("FirstName", "name"), ("Nachname", "name"), ("Nom", "name"),
    ("Name", "name"), ("Date of Birth", "birth date"), ("dateOfBirth", "birth date"), ("geburtsdatum", "birth date"),
    ("E-Mail", "e-mail"), ("phone_no", "telephone"), ("Street Address", "address"), ("PLZ", "postal code"),
    ("MRN", "record number"), ("hospital number", "record number"), ("Medicare ID", "insurance number"),
    ("SSN", "social security number"), ("device_serial_no", "device serial"), ("ip_address", "network address"),
    ("passport", "licence"), ("IBAN", "account"), ("Website", "web address"), ("Foto", "picture"),
])
def test_a_telling_heading_is_found(heading: str, kind: str) -> None:
    assert heading_kind(heading) == kind


INNOCENT = ["protocol_name", "site name", "ward", "recorded_on", "unit", "mode", "percent_predicted",
            "efforts_recorded", "device", "week", "position"]


@pytest.mark.parametrize("heading", [*CONTRACT_HEADINGS, *INNOCENT])
def test_an_innocent_heading_is_let_through(heading: str) -> None:
    assert heading_kind(heading) is None


@pytest.mark.parametrize(("value", "kind"), [
    ("reach me: maria.s@example.org", "e-mail"), ("https://example.org/p/1", "web address"),
    ("www.example.org", "web address"),
    ("192.168.10.7", "network address"), ("00:1B:44:11:3A:B7", "network address"),
    ("078-05-1120", "social security number"),
    ("+44 20 7946 0958", "telephone"), ("(212) 555-0147", "telephone"), ("212-555-0147", "telephone"),
    ("030 901820 11", "telephone"), ("DE89 3704 0044 0532 0130 00", "account"),
    ("came in tired after the walk today", "free text"),
])
def test_a_telling_value_is_found_under_any_heading(value: str, kind: str) -> None:
    assert kind in kinds("ward", None, "east", value)


@pytest.mark.parametrize("value", [
    "61", "-64.5", "2025-01-06", "06.01.2025", "2025-01-06T08:00:00", "gauge-2", "plan a", "1.25.3", "too_ill",
    "400.0001",
    "12:30", "kq7mzx2a", "1990-01-01", "4,5", "0.85", "100200300", "3x10", "T12", "firm_5x6", "20250106", "60-70-80",
])
def test_an_innocent_value_is_let_through(value: str) -> None:
    assert kinds("ward", value) == set()


def test_the_contracts_own_columns_are_judged_by_value() -> None:
    frame = pl.DataFrame({"site": ["mill", "mill@example.org"]})
    (found,) = findings(["site"], frame, ["site"])
    assert (found.column_no, found.kind, found.count) == (1, "e-mail", 1)


def test_client_keys_that_look_like_record_numbers_are_found() -> None:
    assert kinds("client_key", "00123456", "00123457", "00123499") == {"record number"}
    assert kinds("client_key", "kq7mzx2a", "w9trcb4e") == set()


def test_a_mask_shows_the_shape_and_no_character() -> None:
    frame = pl.DataFrame({"a": ["Zoé ÅNG-12", "ß" * 20, None, "٣\t😀", "A"]})
    assert frame.select(masked(pl.col("a")))["a"].to_list() == [
        "Aaa AAA-99 (10 characters)", "aaaaaaaaaaaa... (20 characters)", "(empty)", "9?? (3 characters)",
        "A (1 characters)"]


def test_a_heading_that_may_be_a_value_is_not_shown() -> None:
    assert shown_heading("tested_on") == "tested_on"
    assert shown_heading("maria@example.org") == "aaaaa@aaaaaa... (17 characters)"
    assert shown_heading("19800312") == "99999999 (8 characters)"


def test_the_gates_label_columns_are_the_contracts() -> None:
    labels = {c.name for t in TABLES.values() for c in t.columns if c.kind == "label"}
    assert set(LABELS) == labels


@pytest.mark.parametrize(("keys", "kind"), [
    (["P0000101", "P0000102", "P0000103", "P0000104", "P0000105"], "sequential key"),
    (["MRN00482133", "MRN00917420", "MRN00100255"], "record number"),
    (["19520314-kq", "19480101-zx", "20010230-ab"], "date-like key"),
    (["520314-7akq", "481101-2bzx", "010228-9cab", "770707-1abc", "660606-5def"], "date-like key"),
    (["anna-mueller", "john-smith-2", "kq7mzx2a"], "name"),
])
def test_keys_that_are_no_random_surrogates_are_found(keys: list[str], kind: str) -> None:
    assert kinds("client_key", *keys) == {kind}


def test_random_keys_are_let_through_in_every_common_alphabet() -> None:
    random = Random(7)
    for letters in ("0123456789abcdef", "abcdefghijklmnopqrstuvwxyz0123456789", "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"):
        keys = ["".join(random.choice(letters) for _ in range(12)) for _ in range(5000)]
        assert kinds("client_key", *keys) == set()


def test_a_serial_number_is_no_label_of_an_instrument() -> None:
    for value, found in (("gauge-2", set()), ("meter 2019", set()), ("SN48213377", {"device serial"}),
                         ("POW-0012345", {"device serial"})):
        frame = pl.DataFrame({"instrument": ["gauge-1", value]})
        assert {f.kind for f in findings(["instrument"], frame, ["instrument"])} == found


def test_a_finding_shows_no_value() -> None:
    frame = pl.DataFrame({"ward": ["Erika Mustermann", "Max Mustermann", "Anna Schmidt"]})
    assert "uster" not in str(findings(["ward"], frame)) and "Schmidt" not in str(findings(["ward"], frame))
