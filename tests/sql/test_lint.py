"""The shapes that a SQL file may have, so that the same files run on a second engine later."""

from __future__ import annotations

import re

import pytest

from pipeline import derive
from tests.sql.portable import nodes, refused, tree_of
from tests.sql.rows import column_types

FILES = derive.sql_files()
FLOORS = {
    "settled": ("received.", "settings.", "settled.", "reference.unit_factors"),
    "quantities": ("settled.", "reference.", "settings.", "quantities."),
    "frames": ("settled.", "reference.", "settings.", "quantities.", "frames."),
    "must_be_empty": ("received.", "settled.", "reference.", "settings.", "quantities.", "frames."),
}
CLIENT_KEYS = {"client_key", "client_key_ok"}


def code(text: str) -> str:
    """The statement without its comments and without the insides of texts."""
    return re.sub(r"'[^']*'", "''", re.sub(r"--[^\n]*", "", text))


def faults(name: str, text: str) -> list[str]:
    """Say what is not allowed in one file."""
    said = refused(text, column_types().get(name, {"x": "DOUBLE"}))
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


def by_client() -> set[str]:
    """Tables whose rows stand in one slice each: received rows of a client, and what is made of them slice by slice."""
    read = derive.references(FILES)
    found = {t for t, columns in column_types().items() if t.startswith("received.") and CLIENT_KEYS & set(columns)}
    while more := {n for n, r in read.items() if r & found and "-- grand:" not in FILES[n]} - found:
        found |= more
    return found


def across_clients(text: str) -> bool:
    """Tell whether a text has a group or a window that may hold rows of several clients."""
    for node in nodes(tree_of(text)):
        keys = node.get("partitions") if node.get("class") == "WINDOW" else node.get("group_expressions")
        if keys and not CLIENT_KEYS & {n["column_names"][-1] for k in keys for n in nodes(k) if "column_names" in n}:
            return True
    return False


@pytest.mark.parametrize("name", sorted(FILES))
def test_file_keeps_to_the_allowed_shapes(name: str) -> None:
    assert faults(name, FILES[name]) == []


def test_a_table_goes_by_client_or_says_that_it_does_not() -> None:
    """Slices of clients are built one by one: only sums may cross clients, and only a grand table may read sums."""
    sums = {n for n, text in FILES.items() if "-- sums:" in text}
    assert [n for n in sorted(by_client() & set(FILES)) if across_clients(FILES[n]) and n not in sums] == []
    read = derive.references(FILES)
    assert [n for n in sorted(FILES) if read[n] & sums and "-- grand:" not in FILES[n]] == []
    assert sums and all(n in by_client() for n in sums)


@pytest.mark.parametrize("spoiled", [
    "select t.site, count(*) as n from settled.tests as t group by t.site",
    "select row_number() over (partition by t.file order by t.line) as n from settled.tests as t"])
def test_a_group_of_several_clients_is_seen(spoiled: str) -> None:
    assert across_clients(spoiled)
    assert not across_clients(spoiled.replace(" by t.", " by t.client_key, t."))


SPOILED = [  # what is written, and the portable form that the message must give
    ("round(t.week)", "no rounding in SQL"),
    ("row_number() over (order by t.line)", "a window without partition by: instead one over a key"),
    ("t.tested_on - t.from_on", "days subtracted: instead date_diff('day', a, b)"),
    ("t.tested_on + 3", "a day and a number: instead cast(d + interval (n) day as date)"),
    ("t.tested_on + interval (3) day", "not cast: instead cast(d + interval (n) day as date)"),
    ("t.tested_on + interval (3) month", "to_months: instead cast(d + interval (n) day as date)"),
    ("date_diff('month', t.from_on, t.tested_on)", "instead days, and months as (year(b) - year(a)) * 12"),
    ("isodow(t.tested_on)", "isodow: instead date_diff('day', cast(date_trunc('week', d) as date), d) + 1"),
    ("extract(week from t.tested_on)", "date_part: instead year(d)"),
    ("t.value * 1.5", "a DECIMAL literal: instead 1e-1"),
    ("t.value / t.n", "a division by what may be 0: instead / nullif(y, 0)"),
    ("t.n // 7", "//: instead cast(floor(cast(x as double) / n) as bigint)"),
    ("cast(t.n / 7 as bigint)", "one engine rounds, one cuts): instead cast(floor(x) as bigint)"),
    ("floor(t.value)", "floor, not cast: instead cast(floor(x) as bigint)"),
    ("cast(t.n as decimal(9, 2))", "cast as decimal: instead bigint, double"),
    ("lag(t.metric ignore nulls) over (partition by t.client_key)", "instead last_value(x ignore nulls)"),
    ("count(distinct t.site) over (partition by t.client_key)", "instead a part with select distinct"),
    ("median(t.value) over (partition by t.client_key)", "median over a window: instead a join"),
    ("percentile_cont(5e-1) within group (order by t.value)", "instead median(x), or the row of a place"),
    ("quantile_cont(t.value, 25e-2)", "quantile_cont: instead median(x)"),
    ("case when t.n = 0 then 0 else t.value end", "a whole number as a branch of a DOUBLE column: instead 0e0"),
    ("arg_max(t.metric, t.value)", "arg_max: instead row_number() over"),
    ("any_value(t.metric)", "any_value: instead row_number() over"),
    ("string_agg(t.metric)", "string_agg: instead concat_ws"),
    ("sum(t.value > 3)", "a truth value added up: instead count(*) filter (where b)"),
    ("bool_or(t.value > 3)", "bool_or: instead count(*) filter (where b)"),
    ("exists (select 1 as one from settled.pauses as p)", "instead semi join, anti join"),
    ("soundex(t.metric)", "soundex: instead a function of the list"),
    ("week", "the column week without its table"),
    ("[t.value][1]", "arrays and structs: instead rows and columns"),
]


@pytest.mark.parametrize(("expression", "said"), SPOILED, ids=[e for e, _ in SPOILED])
def test_each_refusal_gives_the_portable_form(expression: str, said: str) -> None:
    found = faults("quantities.spoiled", f"-- one row per test\nselect\n  {expression} as x\nfrom settled.tests as t")
    assert any(f.startswith("line 3: ") and said in f for f in found), found


@pytest.mark.parametrize(("spoiled", "said"), [
    ("select r.client_key from received.tests as r", "reads received.tests"),
    ("SELECT t.line from settled.tests as t", "upper case"),
    ("with\na as (\n  select t.line from settled.tests as t\n),\nb as (select a.* from a)\nselect b.line from b",
     "select * outside the first part"),
    ("select t.line from settled.tests as t order by t.line", "an order: instead none"),
    ("select t.line from settled.tests as t limit 3", "a limit: instead row_number()"),
    ("select distinct on (t.file) t.line from settled.tests as t", "distinct on: instead row_number()"),
    ("select t.file, max(t.line) as line from settled.tests as t group by all", "group by all: instead the columns"),
    ("select t.line from settled.tests as t inner join settled.pauses as p using (client_key)", "using: instead on"),
    ("select t.line from settled.tests as t asof join settled.pauses as p on p.from_on <= t.tested_on", "asof join"),
    ("select t.line from tests as t", "a table without its schema: instead schema.table"),
    ("select t.line from settled.tests as t intersect select p.line from settled.pauses as p", "semi join or anti"),
])
def test_each_rule_can_fail(spoiled: str, said: str) -> None:
    assert any(said in f for f in faults("quantities.spoiled", "-- one row per test\n" + spoiled))


def test_no_column_comes_out_in_a_type_that_was_not_meant() -> None:
    allowed = {"DOUBLE", "BIGINT", "DATE", "VARCHAR", "BOOLEAN"}
    strange = [
        f"{table}.{column} {kind}"
        for table, columns in column_types().items() if not table.startswith(("received.", "settings."))
        for column, kind in columns.items() if kind not in allowed
    ]
    assert strange == []
