"""The shapes a contract is written in: columns, row rules and tables, as plain data."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["key", "label", "code", "whole", "number", "day"]

#: What a written value of each kind looks like. A value is cast only after it has matched: a bare cast is forbidden,
#: because databases read `3.7` as 4 and `epoch` as a date.
SPELLING: dict[str, str] = {
    "key": r"[A-Za-z0-9_-]{8,40}",
    "label": r"[A-Za-z0-9][A-Za-z0-9 _.-]{0,39}",
    "code": r"[a-z0-9_]{1,40}",
    "whole": r"[+-]?[0-9]{1,9}([.]0{1,6})?",
    "number": r"[+-]?([0-9]{1,12}([.][0-9]{0,12})?|[.][0-9]{1,12})",
    "day": r"[12][0-9]{3}-[0-9]{2}-[0-9]{2}",
}

#: What to tell a person who wrote something else.
EXPECTED: dict[str, str] = {
    "key": "a random surrogate of 8 to 40 characters from A-Z a-z 0-9 - _",
    "label": "a short label of up to 40 letters, digits, spaces, dots or hyphens",
    "code": "one of the listed codes",
    "whole": "a whole number",
    "number": "a number with a decimal point",
    "day": "a day written YYYY-MM-DD",
}


@dataclass(frozen=True)
class Column:
    """One column of one input table. `low` and `high` are inclusive; `unit` is empty for codes and keys."""

    name: str
    kind: Kind
    meaning: str
    required: bool = False  # the column must stand in the file
    empty_ok: bool = True  # a cell may be empty, which means: not recorded
    unit: str = ""
    low: float | str | None = None
    high: float | str | None = None
    codes: tuple[str, ...] = ()

    @property
    def expected(self) -> str:
        """Say in words what a good cell holds."""
        if self.codes:
            return "one of " + ", ".join(self.codes)
        if self.low is not None or self.high is not None:
            return f"{EXPECTED[self.kind]} from {self.low} to {self.high}"
        return EXPECTED[self.kind]


@dataclass(frozen=True)
class InOrder:
    """`first` must not lie above (or after) `then`; either may be empty."""

    name: str
    first: str
    then: str
    expected: str


@dataclass(frozen=True)
class NeededUnless:
    """`column` must be filled, unless `unless` is; where `unless` is filled, `column` must be empty."""

    name: str
    column: str
    unless: str
    expected: str


@dataclass(frozen=True)
class NeededWith:
    """`column` must be filled in rows where `when` is; elsewhere it may be."""

    column: str
    when: str
    expected: str


@dataclass(frozen=True)
class EmptyWhen:
    """`columns` must be empty in rows whose `when` is one of `codes`."""

    name: str
    columns: tuple[str, ...]
    when: str
    codes: tuple[str, ...]
    expected: str


@dataclass(frozen=True)
class WholeWhen:
    """`column` must be a whole number in rows whose `when` is one of `codes`."""

    name: str
    column: str
    when: str
    codes: tuple[str, ...]
    expected: str


@dataclass(frozen=True)
class RangeByCode:
    """`column` must lie in the range of the row's code in `by`. `size_only` compares the magnitude; 0 is outside
    when `above_zero` is set."""

    name: str
    column: str
    by: str
    ranges: tuple[tuple[str, float, float], ...]
    expected: str
    size_only: bool = False
    above_zero: bool = False


RowRule = InOrder | NeededUnless | NeededWith | EmptyWhen | WholeWhen | RangeByCode


@dataclass(frozen=True)
class Table:
    """One input table: its grain in words, its columns, the columns that name a row, and its row rules."""

    name: str
    grain: str
    columns: tuple[Column, ...]
    natural_key: tuple[str, ...]
    rules: tuple[RowRule, ...] = ()
    needed: bool = False

    def column(self, name: str) -> Column:
        """Return the column called `name`; KeyError if there is none."""
        return next(c for c in self.columns if c.name == name)

    @property
    def column_names(self) -> tuple[str, ...]:
        return tuple(c.name for c in self.columns)

    @property
    def required_names(self) -> tuple[str, ...]:
        return tuple(c.name for c in self.columns if c.required)
