"""The cohort's own repeat tests: two comparable tests of one person so close together that nothing should have changed.

Learning is taken as spent from the test numbered `familiar_tests` on. Each test stands in one pair at most: a chain of
weekly tests would let training in.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import polars as pl

from pipeline.settings import Settings
from pipeline.stats.reliability import Repeatability, repeatability

SERIES = ["client_key", "series_no"]


@dataclass(frozen=True)
class Repeats:
    """people: with at least one pair; error: from the pairs (its df counts pairs); rise: mean second less first."""

    people: int
    error: Repeatability
    rise: float


def pairs(test_days: pl.DataFrame, pressure: str, settings: Settings) -> pl.DataFrame:
    """Two rows a pair: client_key, pair, tested_on, value_cmh2o. Pairs are taken in order of days, none overlapping."""
    tests = test_days.filter((pl.col("pressure") == pressure) & (pl.col("test_no") >= settings.familiar_tests))
    tests = tests.drop_nulls(["best_cmh2o", "series_no"]).sort(*SERIES, "tested_on")
    found: list[tuple[Any, ...]] = []
    before: tuple[Any, ...] | None = None
    for key, series, day, value in tests.select(*SERIES, "tested_on", "best_cmh2o").iter_rows():
        if before and before[:2] == (key, series) and (day - before[2]).days <= settings.repeat_days:
            found += [(key, len(found), before[2], before[3]), (key, len(found), day, value)]
            before = None
        else:
            before = (key, series, day, value)
    return pl.DataFrame(found, schema={"client_key": pl.String, "pair": pl.Int64, "tested_on": pl.Date,
                                       "value_cmh2o": pl.Float64}, orient="row")  # fmt: skip


def repeats(test_days: pl.DataFrame, pressure: str, settings: Settings) -> Repeats | None:
    """Measurement error from the pairs, or None where fewer people than the settings ask for have one."""
    found = pairs(test_days, pressure, settings)
    people = found["client_key"].n_unique()
    if people < max(settings.min_repeat_people, 2):
        return None
    error = repeatability(found, person="pair")
    assert error is not None
    first, second = (found.gather_every(2, offset)["value_cmh2o"] for offset in (0, 1))
    return Repeats(people, error, float((second - first).to_numpy().mean()))
