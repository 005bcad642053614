"""Every fault that one row can have, in a fixed order, each with its rule name. Made from the contract's tables.

A rule is named `table.column.rule`. The SQL verdict, its pandera oracle and the set-aside records all read this list.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pipeline.contract.columns import (
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

#: needed: empty where it must not be; spelled: not written as its kind; coded: not in the code list; ranged: outside
#: low to high.
CellTest = Literal["needed", "spelled", "coded", "ranged"]

_SPELLED = {"key": "key", "label": "label", "whole": "number", "number": "number", "day": "day"}


@dataclass(frozen=True)
class Fault:
    """One way in which a row fails. `test` is a test of the one cell, or the row rule that is broken.

    A NeededUnless has two faults: on its own column (empty, and no excuse) and on its excuse (both are filled).
    """

    rule: str
    column: str
    expected: str
    test: CellTest | RowRule


def _of_column(table: str, column: Column) -> list[Fault]:
    def fault(rule: str, test: CellTest) -> Fault:
        return Fault(f"{table}.{column.name}.{rule}", column.name, column.expected, test)

    found = [] if column.empty_ok else [fault("needed", "needed")]
    if column.codes:
        return [*found, fault("code", "coded")]
    found.append(fault(_SPELLED[column.kind], "spelled"))
    if column.low is not None or column.high is not None:
        found.append(fault("range", "ranged"))
    return found


def _of_rule(table: str, rule: RowRule) -> list[Fault]:
    def fault(column: str, name: str, test: CellTest | RowRule) -> Fault:
        return Fault(f"{table}.{column}.{name}", column, rule.expected, test)

    match rule:
        case InOrder():
            return [fault(rule.then, rule.name, rule)]
        case NeededUnless():
            return [fault(rule.column, "needed", rule), fault(rule.unless, rule.name, rule)]
        case NeededWith():
            return [fault(rule.column, "needed", rule)]
        case EmptyWhen():
            return [fault(column, rule.name, rule) for column in rule.columns]
        case WholeWhen() | RangeByCode():
            return [fault(rule.column, rule.name, rule)]


def faults(table: Table) -> tuple[Fault, ...]:
    """List the faults a row of `table` can have; a fault's place in the list is its bit in the SQL verdict."""
    found = [f for c in table.columns for f in _of_column(table.name, c)]
    return tuple(found + [f for r in table.rules for f in _of_rule(table.name, r)])
