"""Who is behind the rows of a model, as counts: all that is asked of people before and beside a fit."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import polars as pl

LABELS = ("protocol", "site", "sex", "condition_group")
FEWEST = 3
"""People below which no model is fitted."""
PAST_12_WEEKS, LATE_WEEK = 12.0, 20.0
"""Weeks from which on a test tells of 12, and of 24 weeks."""


@dataclass(frozen=True)
class Who:
    """People by what they have in common. `frame`, one row a mix: the LABELS that are known, tests (of each of these
    people), past_12 and late (whether they have a test from PAST_12_WEEKS, from LATE_WEEK on), people."""

    frame: pl.DataFrame

    @cached_property
    def people(self) -> int:
        """People in all."""
        return int(self.frame["people"].sum())

    @cached_property
    def tests(self) -> int:
        """Tests of all of them."""
        return int((self.frame["people"] * self.frame["tests"]).sum())

    @property
    def late(self) -> int:
        """People with a test late enough to read a curve at 24 weeks."""
        return int(self.frame.filter("late")["people"].sum())

    def having(self, tests: int) -> int:
        """People with so many tests or more."""
        return int(self.frame.filter(pl.col("tests") >= tests)["people"].sum())

    def levels(self, column: str, *, past_12: bool = False) -> dict[str, int]:
        """People by label, in order of labels; `past_12`: those with a test from week 12 on."""
        seen = self.frame.filter("past_12") if past_12 else self.frame
        found = seen.group_by(column).agg(pl.col("people").sum()).sort(column)
        return {label: int(people) for label, people in found.iter_rows()}

    def only(self, column: str, labels: list[str]) -> Who:
        """Those of some labels."""
        return Who(self.frame.filter(pl.col(column).is_in(labels)))

    def cells(self) -> pl.DataFrame:
        """Columns protocol, site, people."""
        return self.frame.group_by("protocol", "site").agg(pl.col("people").sum()).sort("protocol", "site")


def who_of(rows: pl.DataFrame) -> Who:
    """Count the people of prepared rows: client_key, week and the LABELS that are there, the same in all of a person's
    rows."""
    labels = [c for c in LABELS if c in rows.columns]
    each = rows.group_by("client_key", *labels).agg(pl.len().cast(pl.Int64).alias("tests"),
                                                    pl.col("week").max().alias("last"))
    mixes = each.with_columns(past_12=pl.col("last") >= PAST_12_WEEKS, late=pl.col("last") >= LATE_WEEK)
    keys = [*labels, "tests", "past_12", "late"]
    return Who(mixes.group_by(keys).agg(pl.len().cast(pl.Int64).alias("people")).sort(keys))
