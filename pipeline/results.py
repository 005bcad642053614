"""The results table: one tidy row a number (or a plain word). Analyse makes it; pages, JSON and CSV read only this."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, fields
from typing import Any, Literal

import polars as pl

ReportName = Literal["quarter", "protocols", "stalled", "common"]
#: aggregate = counts and averages of groups; client = about one person (internal edition only).
ClassName = Literal["aggregate", "client"]


@dataclass(frozen=True)
class Result:
    """One result. `group` names the subgroup ("all", "site=north", a client key in class client); `at` orders rows of
    a curve (week, quarter number); `n` counts `n_of` (people, tests, sessions); `value`, `low`, `high` share `unit`;
    `text` holds a result that is a word. `method` says how it was got, `note` what would mislead a reader."""

    report: ReportName
    section: str
    statistic: str
    group: str = "all"
    at: float | None = None
    n: int | None = None
    n_of: str = "people"
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


SCHEMA: dict[str, Any] = {
    "report": pl.String, "section": pl.String, "statistic": pl.String, "group": pl.String, "at": pl.Float64,
    "n": pl.Int64, "n_of": pl.String, "value": pl.Float64, "low": pl.Float64, "high": pl.Float64, "unit": pl.String,
    "text": pl.String, "method": pl.String, "note": pl.String, "klass": pl.String,
}
assert list(SCHEMA) == [f.name for f in fields(Result)]


def to_frame(results: Iterable[Result]) -> pl.DataFrame:
    """Return the results as a frame with SCHEMA's columns, in the order given (the order is the pages' order)."""
    return pl.DataFrame([asdict(r) for r in results], schema=SCHEMA, orient="row")


def repeated_keys(results: Iterable[Result]) -> list[str]:
    """List the keys that stand more than once: each number has one name."""
    seen: set[str] = set()
    twice: list[str] = []
    for result in results:
        if result.key in seen:
            twice.append(result.key)
        seen.add(result.key)
    return twice
