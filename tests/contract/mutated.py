"""Rows of any input table, good and mutated, made from the contract itself."""

from __future__ import annotations

import random

import polars as pl

from pipeline.contract import Column, Table

#: Spellings that databases and people read differently: hexadecimal, exponents, words for days, blanks, other scripts.
ODD = (
    "", " ", "\u00a0", "0", "-0", "+0", "3.7", "3.0", "3.0000001", "5.", ".5", ".", "-", "1e3", "0x10", "1_000", "1,5",
    "NaN", "inf", "-1", "-60", "400", "400.0001", "401", "999999999", "9999999999", "12345678901234567890", "epoch",
    "infinity", "today", "2024-02-30", "2024-02-29", "2023-02-29", "0000-01-01", "9999-12-31", "1989-12-31",
    "2101-01-01", "2024-1-5", "03/04/2024", "2024-01-01T00:00:00", "2024-01-01 ", "yes", "Yes", "YES", "true", "null",
    "NULL", "none", "mip", "MIP", "kpa", "lost", "nrs_0_10", "mmrc_grade", "short", "abcdefgh", "a" * 40, "a" * 41,
    "abc def-1", "-abcdefgh", "\u00fcmlaut\u00fcm", "\u0663\u0664", "3\u200b", "a\nb", "2024-01-01\n", "7\n",
    "'; drop table x", "\t12\t", "10.5", "0.5", "100", "100.5",
)


def good_text(column: Column, chance: random.Random) -> str | None:
    """Return a well-formed cell of `column`, or None (empty) now and then where that is allowed."""
    if column.empty_ok and chance.random() < 0.4:
        return None
    if column.codes:
        return chance.choice(column.codes)
    low, high = column.low, column.high
    match column.kind:
        case "whole":
            return str(chance.randint(int(low or 0), int(high or 9)))
        case "number":
            return f"{chance.uniform(float(low or 0), float(high or 9)):.{chance.choice((0, 1))}f}"
        case "day":
            return f"20{chance.randint(10, 29)}-{chance.randint(1, 12):02d}-{chance.randint(1, 28):02d}"
        case "key":
            return "".join(chance.choices("abcdefgh23456789-_", k=chance.randint(8, 40)))
        case _:
            return f"label {chance.randint(1, 9)}"


def text_rows(table: Table, n: int, odd_share: float) -> pl.DataFrame:
    """Return `n` rows of text with `line_`; `odd_share` of the cells are replaced by an odd spelling."""
    chance = random.Random(f"{table.name} {n}")
    columns: dict[str, list[str | None]] = {
        c.name: [chance.choice(ODD) if chance.random() < odd_share else good_text(c, chance) for _ in range(n)]
        for c in table.columns
    }
    frame = pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String))
    return frame.with_columns(pl.int_range(2, n + 2, dtype=pl.Int64).alias("line_"))
