"""The identity gate: finds columns that look like direct identifiers, by heading and by value. Pure; shows no value.

Kinds follow the classes of 45 CFR 164.514(b)(2): see `classes`. The contract's own columns pass by heading and are
judged by value. `gate_cells` holds what one cell gives away, `gate_columns` what a column does, `gate_keys` what keys
do. Measured by tests/studies/gate_corpus.py.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import polars as pl

from pipeline.identity.gate_cells import SERIAL, TELLING
from pipeline.identity.gate_columns import SAMPLE, judge
from pipeline.identity.gate_keys import key_kind
from pipeline.identity.headings import heading_kind

KEY = "client_key"

#: Different keys that are looked at first.
SOME_KEYS = 20_000

#: The contract's columns in which any short text may stand; its others hold days, numbers and codes, and what is well
#: written as one of these is none of the gate's business there (a test holds this list to the contract).
LABELS = ("site", "protocol", "instrument")
_WELL_WRITTEN = r"^[+-]?[0-9]*[.,]?[0-9]*$|^(?:199|20[0-9])[0-9]-[0-9]{2}-[0-9]{2}$|^[a-z0-9_]{1,40}$"


@dataclass(frozen=True)
class Finding:
    """A column that looks like identifying data. `count` is the number of cells (0: the heading alone tells)."""

    column_no: int
    column: str
    kind: str
    count: int


def _different(values: pl.DataFrame, name: str, is_known: bool) -> pl.DataFrame:
    """Return the different values of a column, trimmed, as `value` and `n` cells: a column of millions has few.

    Of a column of days, numbers and codes only what is none of these is left.
    """
    trimmed = values.with_columns(pl.col("value").str.strip_chars()).filter(pl.col("value") != "")
    counted = trimmed.group_by("value").agg(pl.col("n").sum()).sort("value")
    if is_known and name != KEY and name not in LABELS:
        counted = counted.filter(~pl.col("value").str.contains(_WELL_WRITTEN))
    return counted


def _by_cell(counted: pl.DataFrame) -> list[tuple[str, int]]:
    """List the kinds that single cells give away, with the number of such cells."""
    hits = counted.select("n", *(pl.col("value").str.contains(p).alias(kind) for kind, p in TELLING.items()))
    found = [(kind, int(hits.filter(pl.col(kind))["n"].sum())) for kind in TELLING]
    return [(kind, n) for kind, n in found if n]


def _by_column(counted: pl.DataFrame) -> list[tuple[str, int]]:
    """List the kind that the values give away together, with the number of cells."""
    step = max(1, counted.height // SAMPLE)
    some = counted.gather_every(step)
    kind = judge(dict(some.iter_rows()))
    return [(kind, int(counted["n"].sum()))] if kind else []


def _of_keys(counted: pl.DataFrame) -> list[tuple[str, int]]:
    """Judge some of the different keys, and count among all of them only where these look telling."""
    some = counted["value"].gather_every(max(1, counted.height // SOME_KEYS)).to_list()
    told = key_kind(some) and key_kind(counted["value"].to_list())
    return [told] if told else []


def _by_value(name: str, counted: pl.DataFrame) -> list[tuple[str, int]]:
    """List what the values of a column look like."""
    if counted.is_empty():
        return []
    if name == KEY:
        return _of_keys(counted)
    found = _by_cell(counted)
    if name == "instrument" and not found:
        n_serial = int(counted.filter(pl.col("value").str.contains(SERIAL))["n"].sum())
        found += [("device serial", n_serial)] if n_serial else []
    return found or _by_column(counted)


def column_findings(place: int, name: str, values: pl.DataFrame, contract: Collection[str] = ()) -> list[Finding]:
    """Return what the column `name` at `place` (from 1) looks like. values: `value` (text, not null) and `n` cells."""
    is_known = name in contract or name == KEY
    kind = None if is_known else heading_kind(name)
    found = [Finding(place, name, kind, int(values["n"].sum()))] if kind else []
    told = _by_value(name, _different(values, name, is_known))
    return [*found, *(Finding(place, name, k, n) for k, n in told if k != kind)]


def findings(headings: Sequence[str], frame: pl.DataFrame, contract: Collection[str] = ()) -> list[Finding]:
    """Return every column of a text frame that looks like a direct identifier, in the order of the headings.

    contract: names of the columns that the contract knows; their headings are trusted, their values are not.
    """
    found = []
    for place, name in enumerate(headings, start=1):
        values = frame.select(pl.col(name).alias("value")).drop_nulls().group_by("value").agg(
            n=pl.len().cast(pl.Int64))
        found += column_findings(place, name, values, contract)
    return sorted(found, key=lambda f: (f.column_no, f.kind, f.count))
