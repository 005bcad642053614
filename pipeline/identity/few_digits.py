"""Numbers of the shared edition have few digits, and its days are quarters, so that neither points at a few people.

A mean of n whole numbers with twelve digits is a fraction whose denominator gives n back. With one decimal every n of
10 or more fits (the next k/n is at most 1/20 away), with whole percents too. `told` leaves no row more digits than a
page prints, and a row that lost its n no more than that.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from pipeline.identity.quarters import BLOCK_DAYS, label_of
from pipeline.results import Partition, Result

DECIMALS = {"%": 0, "people": 0, "cmH2O": 1}
"""Decimals by unit; two for any other. No page prints more, p-values aside, which keep four: 0.0006 is under 0.001."""
OF_P = 4
OTHERS, WITHOUT_N = 2, 1
SLOPE = "cmH2O per unit"
"""The unit of a model's terms: no means of people, so that they keep their two decimals without their n."""
TENS = "second tests"
"""A unit of which more people are needed: needed less those there are gives these, so it is told in tens."""
GIVEN = ("setting", "sham_arm_rise_cmh2o", "important_change")
"""Statistics that were given and not counted: they stay as they are."""
DAYS = ("data_from_on", "data_until_on")
COUNTED_ROWS = "_quantile_cmh2o"
"""Statistics of which there are the more rows the more people: without their n they would tell it."""
_BLOCK_DAY = "day "


def quarter_told(day: str) -> str:
    """The quarter of a day: "2023Q1" of "2023-01-02", "block-009" of "day 812"; any other text unchanged."""
    if day.startswith(_BLOCK_DAY):
        return label_of(max(0, int(day.removeprefix(_BLOCK_DAY)) // BLOCK_DAYS + 1))
    try:
        found = dt.date.fromisoformat(day)
    except ValueError:
        return day
    return label_of(found.year * 4 + (found.month - 1) // 3)


def _decimals(row: Result, has_lost_n: bool) -> int:
    if row.unit == "p" or row.statistic.startswith("p_"):
        return OF_P
    usual = DECIMALS.get(row.unit, OTHERS)
    return min(usual, WITHOUT_N) if has_lost_n and row.unit != SLOPE else usual


def _rounded(number: float | None, decimals: int) -> float | None:
    return number if number is None or not math.isfinite(number) else round(number, decimals) + 0.0


def told(row: Result, *, has_lost_n: bool = False) -> Result:
    """The row with the digits and the days that the shared edition tells. has_lost_n: its count is hidden."""
    if row.statistic in DAYS:
        return replace(row, text=quarter_told(row.text))
    if row.statistic in GIVEN:
        return row
    if row.unit == TENS and row.value is not None:
        return replace(row, value=10.0 * math.ceil(row.value / 10))
    places = _decimals(row, has_lost_n)
    return replace(row, value=_rounded(row.value, places), low=_rounded(row.low, places),
                   high=_rounded(row.high, places))  # fmt: skip


def is_mean(row: Result) -> bool:
    """Tell whether a row shows a number that is no count and no share of people."""
    return row.value is not None and row.hits is None and row.unit != "people"


def mixed(rows: Mapping[str, Result], sums: Sequence[Partition], true_counts: Mapping[str, int]) -> list[str]:
    """The means to hide as well: those of a split told whole beside the mean of all, from which the hidden counts of
    its groups could be solved (n times the mean of all is the sum over the groups). One a split, of its smallest group.
    """
    gone: list[str] = []
    for total in sums:
        told_of = [rows.get(k) for k in (total.total, *total.parts)]
        shown = [r for r in told_of if r is not None and is_mean(r) and r.key not in gone]
        kinds = {(r.section, r.statistic, r.at) for r in shown}
        if len(total.parts) < 2 or len(shown) < len(told_of) or len(kinds) > 1:
            continue
        lost = [k for k in total.parts if rows[k].n is None and rows[k].n_people is None]
        if lost:
            gone.append(min(lost, key=lambda k: (true_counts.get(k, 0), k)))
    return gone
