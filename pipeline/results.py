"""The results table: one tidy row a number (or a plain word). Analyse makes it; pages, JSON and CSV read only this."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import Any, Literal

import polars as pl

ReportName = Literal["common", "quarter", "protocols", "stalled", "queries"]
#: aggregate = counts and averages of groups; client = about one person or the few behind a question (internal only).
ClassName = Literal["aggregate", "client"]


@dataclass(frozen=True)
class Result:
    """One result.

    `group` names the subgroup ("all", "site=north"; the client key in class client); `at` orders the rows of a curve
    or a list (week, quarter number, place). `n` counts `n_of` (people, tests, sessions, rows); `hits` is the numerator
    where `value` is a share of `n`; `n_people` is the number of different people behind the row where `n_of` is not
    people. `value`, `low`, `high` share `unit`; `text` holds a result that is a word. `method` says how it was got;
    `note` what would mislead a reader. Neither `method` nor `note` ever holds a number counted from the data: it is a
    row of its own.
    """

    report: ReportName
    section: str
    statistic: str
    group: str = "all"
    at: float | None = None
    n: int | None = None
    n_of: str = "people"
    n_people: int | None = None
    hits: int | None = None
    value: float | None = None
    low: float | None = None
    high: float | None = None
    unit: str = ""
    text: str = ""
    method: str = ""
    note: str = ""
    klass: ClassName = "aggregate"

    @property
    def key(self) -> str:
        """The name a reader can ask about: report.section.statistic[group]@at."""
        at = "" if self.at is None else f"@{self.at:g}"
        return f"{self.report}.{self.section}.{self.statistic}[{self.group}]{at}"


def parts_of(group: str) -> dict[str, str]:
    """A group's parts by name; "all" has none."""
    return dict(part.split("=", 1) for part in group.split(";") if "=" in part)


@dataclass(frozen=True)
class Partition:
    """`total` (a key) is the sum of `parts` (keys) in people. Suppression reads these to find complements."""

    total: str
    parts: tuple[str, ...]


@dataclass(frozen=True)
class ResultSet:
    """All results of a run, in the order of the pages, and the sums that hold among their counts."""

    rows: tuple[Result, ...]
    partitions: tuple[Partition, ...] = ()

    def __add__(self, other: ResultSet) -> ResultSet:
        return ResultSet(self.rows + other.rows, self.partitions + other.partitions)


SCHEMA: dict[str, Any] = {
    "report": pl.String, "section": pl.String, "statistic": pl.String, "group": pl.String, "at": pl.Float64,
    "n": pl.Int64, "n_of": pl.String, "n_people": pl.Int64, "hits": pl.Int64, "value": pl.Float64, "low": pl.Float64,
    "high": pl.Float64, "unit": pl.String, "text": pl.String, "method": pl.String, "note": pl.String,
    "klass": pl.String,
}
assert list(SCHEMA) == [f.name for f in fields(Result)]


def to_frame(results: Iterable[Result]) -> pl.DataFrame:
    """Return the results as a frame with SCHEMA's columns, in the order given (the order is the pages' order)."""
    return pl.DataFrame([vars(r) for r in results], schema=SCHEMA, orient="row")


def repeated_keys(results: Iterable[Result]) -> list[str]:
    """List the keys that stand more than once: each number has one name."""
    seen: set[str] = set()
    twice: list[str] = []
    for result in results:
        if result.key in seen:
            twice.append(result.key)
        seen.add(result.key)
    return twice
