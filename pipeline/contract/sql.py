"""The SQL verdict: one generated SELECT that types a table's text and says, bit by bit, what is wrong with each row.

A cell is cast only after its spelling has matched; a faulty cell comes out empty, and its row's `fault_bits` is not 0.
"""

from __future__ import annotations

from collections.abc import Collection

from pipeline.contract.columns import (
    SPELLING,
    Column,
    EmptyWhen,
    InOrder,
    NeededUnless,
    NeededWith,
    RangeByCode,
    RowRule,
    Table,
    WholeWhen,
)
from pipeline.contract.faults import Fault, faults

#: Blank characters that may stand around a cell and mean nothing (the last one is the no-break space).
BLANKS = " \t\r\n\u00a0"
_BLANKS_SQL = "E' \\t\\r\\n\u00a0'"

#: One bit a fault must fit a BIGINT, whose top bit is the sign.
MOST_FAULTS = 62


def literal(value: object) -> str:
    """A value as a text of SQL."""
    return "'" + str(value).replace("'", "''") + "'"


def literals(codes: Collection[str]) -> str:
    """Texts as a list of SQL, such as follows `in`."""
    return "(" + ", ".join(literal(c) for c in codes) + ")"


#: How most cells are written: a whole number or a day that is what the database itself would write for its value. To
#: cast and compare costs half of matching the spelling. The bounds keep to what the spelling allows.
_QUICK = {
    "whole": ("integer", "-999999999", "999999999"), "number": ("integer", "-999999999", "999999999"),
    "day": ("date", "date '1000-01-01'", "date '2999-12-31'"),
}


def _spelled(column: Column, text: str) -> str:
    if column.codes:
        return f"{text} in {literals(column.codes)}"
    spelled = f"regexp_full_match({text}, {literal(SPELLING[column.kind])})"
    if column.kind == "label":  # the one spelling in which a blank may stand, and so also at its end
        return f"({spelled} and not ends_with({text}, ' '))"
    return spelled


def _typed(column: Column) -> str:
    """Write the typed value of a column's text, null where the text is not a good spelling of its kind."""
    name, text = column.name, f"{column.name}__text"
    if column.codes:
        return f"case when {_spelled(column, text)} then {text} end"
    casts = {
        "whole": f"try_cast(try_cast({text} as double) as bigint)", "number": f"try_cast({text} as double)",
        "day": f"try_cast({text} as date)",
    }
    to = {"whole": "bigint", "number": "double"}.get(column.kind, "date")
    quick = f"when {name}__plain then cast({name}__quick as {to}) " if column.kind in _QUICK else (
        f"when {name}__plain then {text} ")
    return f"case {quick}when {_spelled(column, text)} then {casts.get(column.kind, text)} end"


def _cell(column: Column, is_there: bool) -> str:
    """Write a cell's text without blanks around it, empty as null; whether it was plainly good, and its quick value.

    Trimming costs more than all else in the verdict, so a cell that is well spelled as it stands is not trimmed.
    """
    name = column.name
    if not is_there:
        quick = f",\n  cast(null as {_QUICK[column.kind][0]}) as {name}__quick" if column.kind in _QUICK else ""
        return f"cast(null as varchar) as {name}__text,\n  false as {name}__plain{quick}"
    spelled, before = _spelled(column, name), ""
    plain, good = spelled, f"{name}__plain"
    if column.kind in _QUICK:
        kind, low, high = _QUICK[column.kind]
        before = f"try_cast({name} as {kind}) as {name}__quick,\n  "
        plain = f"{name}__quick between {low} and {high} and cast({name}__quick as varchar) = {name}"
        good = f"{name}__plain or {spelled}"
    trimmed = f"nullif(trim({name}, {_BLANKS_SQL}), '')"
    return (f"{before}{plain} as {name}__plain,\n  "
            f"case when {good} then {name} when {name} is not null then {trimmed} end as {name}__text")


def _bound(column: Column, bound: float | str) -> str:
    return f"date {literal(bound)}" if column.kind == "day" else f"{bound}"


def _out_of_range(column: Column) -> str:
    sides = []
    if column.low is not None:
        sides.append(f"{column.name} < {_bound(column, column.low)}")
    if column.high is not None:
        sides.append(f"{column.name} > {_bound(column, column.high)}")
    return " or ".join(sides)


def _by_code(rule: RangeByCode) -> str:
    size = f"abs({rule.column})" if rule.size_only else rule.column
    foot = "<=" if rule.above_zero else "<"
    cases = [
        f"{rule.by}__text = {literal(code)} and ({size} {foot if low == 0 else '<'} {low} or {size} > {high})"
        for code, low, high in rule.ranges
    ]
    return " or ".join(f"({c})" for c in cases)


def _broken(fault: Fault, rule: RowRule) -> str:
    match rule:
        case InOrder():
            return f"{rule.first} > {rule.then}"
        case NeededUnless() if fault.column == rule.column:
            return f"{rule.column}__text is null and {rule.unless}__text is null"
        case NeededUnless():
            return f"{rule.column}__text is not null and {rule.unless}__text is not null"
        case NeededWith():
            return f"{rule.column}__text is null and {rule.when}__text is not null"
        case EmptyWhen():
            return f"{fault.column}__text is not null and {rule.when}__text in {literals(rule.codes)}"
        case WholeWhen():
            return f"{rule.column} <> floor({rule.column}) and {rule.when}__text in {literals(rule.codes)}"
        case RangeByCode():
            return _by_code(rule)


def _condition(table: Table, fault: Fault) -> str:
    """Write the condition under which a row has `fault`; null counts as no."""
    match fault.test:
        case "needed":
            return f"{fault.column}__text is null"
        case "spelled" | "coded":
            return f"{fault.column}__text is not null and {fault.column} is null"
        case "ranged":
            return _out_of_range(table.column(fault.column))
        case rule:
            return _broken(fault, rule)


def sql_verdict(
    table: Table, headings: Collection[str] | None = None, relation: str = "incoming", *,
    raw: Collection[str] = (), beside: Collection[str] = (),
) -> str:
    """Write the SELECT that judges `relation`, a table of text columns and `line_`.

    headings: the columns that `relation` has (None: all of the contract's); the others come out empty. The result has
    `line_`, every contract column typed, and `fault_bits` (BIGINT): bit k is fault k of `faults(table)`.
    raw: columns of `relation` whose text a faulty row keeps, as a JSON list in `raw_` (null in good rows). beside:
    columns of `relation`, none of the contract's, that come out as they are.
    """
    listed = faults(table)
    if len(listed) > MOST_FAULTS:
        raise ValueError(f"{table.name} can have {len(listed)} faults: at most {MOST_FAULTS} fit the verdict")
    there = table.column_names if headings is None else headings
    texts = [*(_cell(c, c.name in there) for c in table.columns), *(f"{n} as {n}__raw" for n in raw), *beside]
    typed = [f"{_typed(c)} as {c.name}" for c in table.columns]
    bits = [f"case when {_condition(table, f)} then {1 << k} else 0 end" for k, f in enumerate(listed)]
    kept_text = "cast(to_json(list_value(" + ", ".join(f"{n}__raw" for n in raw) + ")) as varchar)"
    also = [*([f"case when fault_bits <> 0 then {kept_text} end as raw_"] if raw else []), *beside]
    return (
        "with trimmed as (select line_, " + ",\n  ".join(texts) + f"\nfrom {relation}),\n"
        "typed as (select *,\n  " + ",\n  ".join(typed) + "\nfrom trimmed),\n"
        "judged as (select *, cast(" + "\n  + ".join(bits) + " as bigint) as fault_bits\nfrom typed)\n"
        "select " + ", ".join(["line_", *table.column_names, "fault_bits", *also]) + "\nfrom judged"
    )
