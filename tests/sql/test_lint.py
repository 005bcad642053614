"""The shapes that a SQL file may have, so that the same files run on a second engine later."""

from __future__ import annotations

import re

import pytest

from pipeline import derive
from tests.sql.rows import column_types

FILES = derive.sql_files()
FLOORS = {
    "settled": ("received.", "settings.", "settled.", "reference.unit_factors"),
    "quantities": ("settled.", "reference.", "settings.", "quantities."),
    "frames": ("settled.", "reference.", "settings.", "quantities.", "frames."),
    "must_be_empty": ("received.", "settled.", "reference.", "settings.", "quantities.", "frames."),
}
FORBIDDEN = {
    "a rounded value": r"\bround\s*\(",
    "a form that other engines lack": r"\b(percentile_cont|arg_max|arg_min|mode|any_value|first|last|isodow|asof)\s*\(",
    "asof join": r"\basof\b",
    "not exists on a range": r"\bnot\s+exists\b",
    "a window without partition by": r"\b(over|window \w+ as)\s*\((?!\s*partition by)",
    "a decimal literal": r"(?<![\w.])\d+\.\d+(?!\d*e)",
    "lag that skips nulls": r"\blag\s*\([^)]*ignore nulls",
    "days subtracted": r"_on\s*-\s*[a-z]+\.[a-z_]*_on\b",
}


def code(text: str) -> str:
    """The statement without its comments and without the insides of texts."""
    return re.sub(r"'[^']*'", "''", re.sub(r"--[^\n]*", "", text))


def faults(name: str, text: str) -> list[str]:
    """Say what is not allowed in one file."""
    said = [what for what, pattern in FORBIDDEN.items() if re.search(pattern, code(text))]
    if not re.match(r"-- one row\b", text):
        said.append("no grain in the first line")
    if code(text) != code(text).lower():
        said.append("upper case")
    if len(text.splitlines()) > 80 or max(map(len, text.splitlines())) > 120:
        said.append("too long")
    if any(re.search(r"(\bselect\s+|\.)\*", part) for part in code(text).split("\n),\n")[1:]):
        said.append("select * outside the first part")
    read = derive.references({name: text})[name]
    said += [f"reads {t}" for t in sorted(read) if not t.startswith(FLOORS[name.split(".")[0]])]
    return said


@pytest.mark.parametrize("name", sorted(FILES))
def test_file_keeps_to_the_allowed_shapes(name: str) -> None:
    assert faults(name, FILES[name]) == []


@pytest.mark.parametrize(("spoiled", "said"), [
    ("select round(t.week) as week from settled.tests as t", "a rounded value"),
    ("select row_number() over (order by t.line) as n from settled.tests as t", "a window without partition by"),
    ("select t.tested_on - t.from_on as n from settled.tests as t", "days subtracted"),
    ("select t.value * 1.5 as n from settled.tests as t", "a decimal literal"),
    ("select r.client_key from received.tests as r", "reads received.tests"),
    ("SELECT t.line from settled.tests as t", "upper case"),
    ("with\na as (\n  select t.line from settled.tests as t\n),\nb as (select a.* from a)\nselect b.line from b",
     "select * outside the first part"),
])
def test_each_rule_can_fail(spoiled: str, said: str) -> None:
    assert said in faults("quantities.spoiled", "-- one row per test\n" + spoiled)


def test_no_column_comes_out_in_a_type_that_was_not_meant() -> None:
    allowed = {"DOUBLE", "BIGINT", "DATE", "VARCHAR", "BOOLEAN"}
    strange = [
        f"{table}.{column} {kind}"
        for table, columns in column_types().items() if not table.startswith(("received.", "settings."))
        for column, kind in columns.items() if kind not in allowed
    ]
    assert strange == []
