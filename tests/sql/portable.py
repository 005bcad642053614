"""What a file in sql/ may say, so that it reads the same on a second engine: allowed functions and refused shapes.

Each refusal names the portable form. Written from what was tried on both engines: a form that is not listed here was
not tried, and a form that transpiles is not proven by that. tests/engines runs every file on both and compares rows.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any

import duckdb

Node = dict[str, Any]

FUNCTIONS = frozenset((
    "+", "-", "*", "/", "||", "~~", "!~~", "abs", "concat_ws", "count", "count_star", "date_diff", "date_trunc",
    "floor", "greatest", "least", "ln", "lpad", "max", "median", "min", "month", "nullif", "quarter", "range", "sum",
    "to_days", "trunc", "unnest", "year",
))
WINDOWS = frozenset(("count", "lag", "last_value", "lead", "max", "min", "row_number", "sum"))
TYPES = frozenset(("BIGINT", "DATE", "DOUBLE", "VARCHAR"))

_PICK = "row_number() over (partition by ... order by ...) as place, then max(case when place = 1 then x end)"
_WEEKDAY = "date_diff('day', cast(date_trunc('week', d) as date), d) + 1"
_QUANTILE = "median(x), or the row of a place by row_number()"
_COUNT_IF = "count(*) filter (where b)"
_DAYS = "cast(d + interval (n) day as date)"

#: function -> the portable form; any other function that is not in FUNCTIONS gets `_UNTRIED`.
INSTEAD = {
    "round": "no rounding in SQL: pages round; floor(x + 5e-1) where a whole number is meant",
    **dict.fromkeys(("//", "divide"), "cast(floor(cast(x as double) / n) as bigint)"),
    **dict.fromkeys(("arg_max", "arg_min", "max_by", "min_by", "mode", "any_value", "first", "last"), _PICK),
    **dict.fromkeys(("isodow", "dow", "dayofweek", "weekday", "week", "weekofyear", "yearweek"), _WEEKDAY),
    **dict.fromkeys(("date_part", "datepart"), "year(d), month(d), quarter(d); of a weekday " + _WEEKDAY),
    **dict.fromkeys(("quantile", "quantile_cont", "quantile_disc", "approx_quantile"), _QUANTILE),
    **dict.fromkeys(("bool_or", "bool_and", "count_if", "countif"), _COUNT_IF + ", compared with 0 or count(*)"),
    **dict.fromkeys(("to_months", "to_years", "to_weeks", "to_hours", "to_seconds"), _DAYS),
    **dict.fromkeys(("datediff", "date_sub", "datesub", "age"), "date_diff('day', a, b)"),
    **dict.fromkeys(("date_add", "add"), _DAYS),
    "generate_series": "unnest(range(0, n))",
    "list": "rows, one a value: an array has no fixed order on the other engine",
    "array_agg": "rows, one a value: an array has no fixed order on the other engine",
    "string_agg": "concat_ws over named columns: an aggregate of texts has no fixed order",
}
_UNTRIED = "a function of the list in tests/sql/portable.py, or this one once it is tried on both engines there"


@cache
def _parser() -> duckdb.DuckDBPyConnection:
    return duckdb.connect(":memory:")


def tree_of(text: str) -> Node:
    """Parse one statement into DuckDB's own tree, defaults left out."""
    options = "skip_default := true, skip_null := true, skip_empty := true"
    found = _parser().execute(f"select json_serialize_sql(?, {options})", [text]).fetchall()
    tree: Node = json.loads(found[0][0])
    assert not tree["error"], tree
    return tree


def nodes(tree: Any) -> Iterator[Node]:
    """Walk a tree, parents first."""
    if isinstance(tree, dict):
        yield tree
        for value in tree.values():
            yield from nodes(value)
    elif isinstance(tree, list):
        for value in tree:
            yield from nodes(value)


def _arguments(node: Node) -> list[Node]:
    return [a["expression"] for a in node.get("arguments", [])]


def _is_day(node: Node) -> bool:
    if node.get("class") == "COLUMN_REF":
        return str(node["column_names"][-1]).endswith("_on")
    return node.get("class") == "CAST" and node["type_expr"]["type_name"].upper() == "DATE"


def _may_be_zero(divisor: Node) -> bool:
    """Tell whether a divisor is neither a number other than 0 nor `nullif(y, 0)`."""
    if divisor.get("class") == "CAST":
        return _may_be_zero(divisor["child"])
    if divisor.get("class") == "CONSTANT":
        return divisor["literal"]["kind"] not in ("INTEGER", "NUMERIC") or float(divisor["literal"]["text"]) == 0
    return divisor.get("function_name") != "nullif"


def _of_function(node: Node) -> Iterator[str]:
    name = node["function_name"].lower()
    if name not in FUNCTIONS:
        yield f"{name}: instead {INSTEAD.get(name, _UNTRIED)}"
    if node.get("order_bys", {}).get("orders"):
        yield f"an order within an aggregate (percentile_cont): instead {_QUANTILE}"
    if node.get("distinct") and name != "count":
        yield "distinct within an aggregate: instead a part with select distinct"
    if name == "date_diff" and _arguments(node)[0].get("literal", {}).get("text", "").lower() != "day":
        yield "date_diff by another part: instead days, and months as (year(b) - year(a)) * 12 + month(b) - month(a)"
    if name == "/" and _may_be_zero(_arguments(node)[1]):
        yield "a division by what may be 0: instead / nullif(y, 0)"
    if name in ("sum", "avg") and _arguments(node)[0].get("class") == "COMPARISON":
        yield f"a truth value added up: instead {_COUNT_IF}"
    if name in ("+", "-") and any(map(_is_day, _arguments(node))):
        if all(map(_is_day, _arguments(node))):
            yield "days subtracted: instead date_diff('day', a, b)"
        elif not any(a.get("function_name", "").startswith("to_") for a in _arguments(node)):
            yield f"a day and a number: instead {_DAYS}"


def _of_window(node: Node) -> Iterator[str]:
    name = node["function_name"].lower()
    if name not in WINDOWS:
        yield f"{name} over a window: instead " + (
            "a join with a part that is grouped" if name in FUNCTIONS else INSTEAD.get(name, _UNTRIED))
    if not node.get("partitions"):
        yield "a window without partition by: instead one over a key, or a grand table of one row that is joined"
    if node.get("distinct"):
        yield "count(distinct) over a window: instead a part with select distinct, counted and joined"
    if node.get("ignore_nulls") and name != "last_value":
        yield (f"{name} that skips nulls: instead last_value(x ignore nulls) over (... rows between unbounded "
               "preceding and 1 preceding)")


def _of_cast(node: Node) -> Iterator[str]:
    to = node["type_expr"]["type_name"].upper()
    if to not in TYPES:
        yield f"cast as {to.lower()}: instead bigint, double, date or varchar"
    if to == "BIGINT" and node["child"].get("function_name") in ("/", "avg", "median"):
        yield "a fraction cast to a whole number (one engine rounds, one cuts): instead cast(floor(x) as bigint)"


def _of_join(node: Node) -> Iterator[str]:
    if node.get("ref_type") in ("ASOF", "POSITIONAL", "NATURAL"):
        yield f"{node['ref_type'].lower()} join: instead lead(d) over (...) as the end of a span, joined on the span"
    if node.get("using_columns"):
        yield "using: instead on a.key = b.key"


def _of_select(node: Node) -> Iterator[str]:
    if node.get("qualify"):
        yield "qualify: instead a part that numbers the rows, and where place = 1"
    if node.get("aggregate_handling", "STANDARD_HANDLING") != "STANDARD_HANDLING":
        yield "group by all: instead the columns by name"
    if any(g.get("class") == "CONSTANT" for g in node.get("group_expressions", [])):
        yield "group by a position: instead the columns by name"
    if node.get("sample"):
        yield "a sample: instead none, the same input gives the same rows"
    yield from _of_end(node)


def _of_end(node: Node) -> Iterator[str]:
    """Refusals of what stands behind a SELECT or a union of them."""
    for modifier in node.get("modifiers", []):
        if modifier.get("orders"):
            yield "an order: instead none, a table has no order"
        if modifier["type"].startswith("LIMIT"):
            yield "a limit: instead row_number() and where place <= n"
        if modifier.get("distinct_on_targets"):
            yield f"distinct on: instead {_PICK}"


def _of_any(node: Node) -> Iterator[str]:
    """Refusals of one node of the tree."""
    match node.get("class") or node.get("type"):
        case "FUNCTION":
            yield from _of_function(node)
        case "WINDOW":
            yield from _of_window(node)
        case "CAST":
            yield from _of_cast(node)
        case "JOIN":
            yield from _of_join(node)
        case "SELECT_NODE":
            yield from _of_select(node)
        case "SUBQUERY" if "class" in node:
            yield "a query within an expression: instead semi join, anti join or a part of its own"
        case "LAMBDA":
            yield f"a lambda: instead {_UNTRIED}"
        case "SET_OPERATION_NODE":
            yield from _of_end(node)
            if node.get("setop_type") != "UNION":
                yield "a set operation other than union and union all: instead semi join or anti join"
        case "STAR" if node.keys() & {"exclude_list", "replace_list", "expr"} or node.get("columns"):
            yield "a star with changes: instead the columns by name"
        case "COLUMN_REF" if len(node["column_names"]) == 1:
            yield (f"the column {node['column_names'][0]} without its table (an alias in where is not known "
                   "elsewhere): instead t.column")
        case "CONSTANT" if re.fullmatch(r"\d*\.\d*", str(node["literal"].get("text"))):
            if node["literal"]["kind"] == "NUMERIC":
                yield "a DECIMAL literal: instead 1e-1, or a column of settings.current"
        case "OPERATOR" if node["type"] in ("ARRAY_EXTRACT", "ARRAY_SLICE", "STRUCT_EXTRACT", "ARRAY_CONSTRUCTOR"):
            yield "arrays and structs: instead rows and columns"


def _bare(tree: Node) -> Iterator[tuple[Node, str]]:
    """Expressions whose type differs between engines where they are not cast: a moved day, and a floor."""
    cast = {id(n["child"]): n["type_expr"]["type_name"].upper() for n in nodes(tree) if n.get("class") == "CAST"}
    for node in nodes(tree):
        if node.get("function_name") in ("+", "-") and cast.get(id(node)) != "DATE" and any(
                a.get("function_name") == "to_days" for a in _arguments(node)):
            yield node, f"a day and an interval, not cast: instead {_DAYS}"
        if node.get("function_name") == "floor" and cast.get(id(node)) != "BIGINT":
            yield node, "floor, not cast: instead cast(floor(x) as bigint)"


def _strangers(tree: Node) -> Iterator[Node]:
    """Tables named without their schema that no part of the text makes."""
    parts = {entry["key"] for n in nodes(tree) for entry in n.get("cte_map", {}).get("map", [])}
    yield from (n for n in nodes(tree) if n.get("type") == "BASE_TABLE" and not n.get("schema_name")
                and n["table_name"] not in parts)


def _whole_branches(tree: Node, types: Mapping[str, str]) -> Iterator[Node]:
    """Whole numbers as branches of a case in a DOUBLE column: one engine takes the type of the first branch for all."""
    for select in (n for n in nodes(tree) if n.get("type") == "SELECT_NODE"):
        for item in select["select_list"]:
            if item.get("class") == "CASE" and types.get(item.get("alias", "")) == "DOUBLE":
                branches = [c["then_expr"] for c in item["case_checks"]] + [item.get("else_expr", {})]
                yield from (b for b in branches if b.get("literal", {}).get("kind") == "INTEGER")


def refused(text: str, types: Mapping[str, str] | None = None) -> list[str]:
    """Say what in a file does not read the same elsewhere: `line N: what: instead the portable form`.

    types: the columns that the file makes and DuckDB's types of them, where they are known.
    """
    tree = tree_of(text)
    inside = {id(m) for n in nodes(tree) if n.get("function_name") == "to_days" for m in nodes(n["arguments"])
              if m.get("class") == "CAST" or m.get("function_name") == "trunc"}  # DuckDB's own reading of an interval
    said = [(n, what) for n in nodes(tree) if id(n) not in inside for what in _of_any(n)]
    said += list(_bare(tree))
    said += [(n, "a whole number as a branch of a DOUBLE column: instead 0e0")
             for n in _whole_branches(tree, types or {})]
    said += [(n, "a table without its schema: instead schema.table") for n in _strangers(tree)]
    return list(dict.fromkeys(
        f"line {text.count(chr(10), 0, n.get('query_location', 0)) + 1}: {what}" for n, what in said))
