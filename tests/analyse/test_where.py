"""The grammar of --where: what it chooses, what it refuses, and that nothing of the text comes back."""

import polars as pl
import pytest

from pipeline.analyse.where import BadCondition, parse

ROWS = pl.DataFrame({
    "key": ["a", "b", "c", "d", "e"],
    "site": ["north", "north", "south", None, "north wing"],
    "age_years": [50.0, 70.0, 60.0, 80.0, None],
    "is_mover": [True, False, None, False, True],
    "quarter": ["2026Q1", "2026Q2", "2026Q2", "2026Q3", "2026Q3"],
})  # fmt: skip
SCHEMA = {c: t for c, t in ROWS.schema.items() if c != "key"}


def chosen(text):
    return "".join(ROWS.filter(parse(text, SCHEMA).fill_null(False))["key"])


@pytest.mark.parametrize(("text", "keys"), [
    ("site = north", "ab"), ("site = 'north wing'", "e"), ('site = "north wing"', "e"), ("site != north", "ce"),
    ("site <> north", "ce"), ("not site = north", "ce"), ("age_years >= 60", "bcd"), ("age_years<60", "a"),
    ("age_years between 60 and 70", "bc"), ("age_years not between 60 and 70", "ad"), ("age_years > -1", "abcd"),
    ("site in (north, south)", "abc"), ("site not in (south)", "abe"), ("is_mover = yes", "ae"),
    ("is_mover = false", "bd"), ("site is recorded", "abce"), ("site is not recorded", "d"),
    ("quarter = 2026Q2", "bc"), ("site = north and age_years > 60", "b"), ("site = south or age_years > 75", "cd"),
    ("site = north or site = south and age_years > 65", "ab"),
    ("(site = north or site = south) and age_years > 55", "bc"),
    ("NOT (site = north OR site = south)", "e"), ("not not site = north", "ab"),
])  # fmt: skip
def test_what_is_chosen(text, keys):
    """A cell that is not recorded satisfies neither a comparison nor its opposite."""
    assert chosen(text) == keys


@pytest.mark.parametrize(("text", "at", "expected"), [
    ("", 1, "a comparison such as site = north"),
    ("   ", 1, "a comparison such as site = north"),
    ("client_key = 'dyba8xmx5yds'", 1, "one of: age_years, is_mover, quarter, site"),
    ("site", 5, "in or between"),
    ("site = ", 8, "words"),
    ("site < north", 6, "= or != or in (...)"),
    ("age_years = old", 13, "a number"),
    ("is_mover = 3", 12, "yes or no"),
    ("site = north and", 17, "one of: age_years, is_mover, quarter, site"),
    ("site = north site = south", 14, "and, or, or the end"),
    ("(site = north", 14, "')'"),
    ("site in north", 9, "'('"),
    ("site = north; drop table frames.courses", 13, "columns, = != < <= > >=, numbers, words, quoted words, brackets"),
    ("site = 'north", 8, "columns, = != < <= > >=, numbers, words, quoted words, brackets"),
    ("site = north -- all", 14, "columns, ="),
    ("site = north union select client_key", 14, "and, or, or the end"),
    ("read_csv('/etc/passwd') = 1", 1, "one of: age_years, is_mover, quarter, site"),
    ("site like '%n%'", 6, "in or between"),
    ("and = north", 1, "one of: age_years, is_mover, quarter, site"),
    ("site = north" + " or site = south" * 40, 401, "at most 400 characters"),
    ("(" * 30 + "site = north" + ")" * 30, 21, "at most 20"),
])  # fmt: skip
def test_what_is_refused_and_where(text, at, expected):
    with pytest.raises(BadCondition) as refused:
        parse(text, SCHEMA)
    assert refused.value.where == f"--where, character {at}"
    assert refused.value.expected.startswith(expected)
    assert refused.value.exit_code == 2


@pytest.mark.parametrize("text", ["client_key = 'dyba8xmx5yds'", "site = 'Mary Smith' nonsense", "Smith = 3"])
def test_a_refusal_repeats_nothing_of_the_text(text):
    with pytest.raises(BadCondition) as refused:
        parse(text, SCHEMA)
    assert not any(word in refused.value.text for word in ("dyba8xmx5yds", "Mary", "Smith", "nonsense"))
