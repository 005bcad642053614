"""Quarters under both date policies: calendar quarters, or blocks of 13 weeks of each client's own time.

A label is `2026Q3` under `limited` and `block-003` under `relative`. Labels of one kind sort as text in the order of
time, and a block cannot be taken for a calendar quarter. `block-001` begins on the client's own start; `block-000` is
everything before it. sql/settled/calendar.sql gives the days of the store these labels.
"""

from __future__ import annotations

import datetime as dt
import re

import polars as pl

from pipeline.identity.day_offsets import EPOCH, RELATIVE

BLOCK_DAYS = 91
LABEL = re.compile(r"[0-9]{4}Q[1-4]|block-[0-9]{3}")

_FIRST_CALENDAR_NUMBER = 4000
_BLOCK, _DAY = "block-", "day "


def is_block(label: str) -> bool:
    """Tell a block of a client's own time from a calendar quarter."""
    return label.startswith(_BLOCK)


def fits(label: str, date_policy: str) -> bool:
    """Tell whether a label is a quarter of this date policy."""
    return bool(LABEL.fullmatch(label)) and is_block(label) == (date_policy == RELATIVE)


def number_of(label: str) -> int:
    """Number of a quarter, so that the next one is one more: blocks from 0 on, the calendar's (year x 4) far above."""
    if is_block(label):
        return int(label.removeprefix(_BLOCK))
    return int(label[:4]) * 4 + int(label[5]) - 1


def label_of(number: int) -> str:
    """The label of a number made by `number_of`; ValueError for a number that no quarter has."""
    if number >= _FIRST_CALENDAR_NUMBER:
        return f"{number // 4}Q{number % 4 + 1}"
    if 0 <= number <= 999:
        return f"{_BLOCK}{number:03d}"
    raise ValueError("no quarter has this number")


def before(label: str, back: int) -> str | None:
    """The quarter that lies `back` quarters earlier; None where a client's own time has none."""
    number = number_of(label) - back
    return label_of(number) if number >= 0 else None


def last_day(label: str) -> dt.date:
    """The last day of a quarter; of a block, as the store holds the client's own days."""
    following = number_of(label) + 1
    if is_block(label):
        return EPOCH + dt.timedelta(days=BLOCK_DAYS * (following - 1) - 1)
    return dt.date(following // 4, following % 4 * 3 + 1, 1) - dt.timedelta(days=1)


def day_words(day: dt.date, quarter: str) -> str:
    """Print a stored day as results of `quarter` tell days: ISO, or "day 84" from the client's own start."""
    return f"{_DAY}{(day - EPOCH).days}" if is_block(quarter) else day.isoformat()


def days_told(column: str) -> pl.Expr:
    """The days of a text column written by `day_words`."""
    told = pl.col(column)
    offset = told.str.strip_prefix(_DAY).cast(pl.Int32, strict=False)
    return pl.coalesce(told.str.to_date(strict=False), (pl.lit(EPOCH) + pl.duration(days=offset)).cast(pl.Date))


def last_full(until: dt.date) -> str:
    """The last calendar quarter that lies whole before or on a day, such as 2026Q3 for 2026-09-30."""
    day = until + dt.timedelta(days=1)
    return label_of(day.year * 4 + (day.month - 1) // 3 - 1)


def own_days(block: str) -> tuple[int | None, int]:
    """First and last day of a block, counted from the client's own start (0); block-000 has no first."""
    last = (last_day(block) - EPOCH).days
    return (None if number_of(block) == 0 else last - BLOCK_DAYS + 1), last
