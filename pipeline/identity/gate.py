"""The identity gate: finds columns that look like direct identifiers, by heading and by value. Pure; shows no value.

Kinds follow the classes of 45 CFR 164.514(b)(2). The contract's own columns pass by heading and are judged by value.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import polars as pl

from pipeline.identity.headings import heading_kind

#: Kind -> what a value of it looks like anywhere in a cell.
VALUES: dict[str, str] = {
    "e-mail": r"[^\s@,;]+@[^\s@,;]+\.[A-Za-z]{2,}",
    "web address": r"(?i)\bhttps?://|\bwww\.[a-z0-9-]+\.",
    "network address": r"\b(?:(?:25[0-5]|2[0-4][0-9]|1?[0-9]?[0-9])\.){3}(?:25[0-5]|2[0-4][0-9]|1?[0-9]?[0-9])\b"
                       r"|\b(?:[0-9A-Fa-f]{2}[:-]){5}[0-9A-Fa-f]{2}\b|\b(?:[0-9A-Fa-f]{1,4}:){7}[0-9A-Fa-f]{1,4}\b",
    "social security number": r"(?:^|[^0-9-])[0-9]{3}-[0-9]{2}-[0-9]{4}(?:[^0-9-]|$)",
    "telephone": r"(?:^|[^0-9A-Za-z.-])(?:\+[0-9][0-9 ().-]{7,16}[0-9]|\(0?[0-9]{2,4}\) ?[0-9][0-9 -]{4,10}[0-9]"
                 r"|[0-9]{3}[-. ][0-9]{3}[-. ][0-9]{4}|0[0-9]{2,4}[ /-][0-9]{3,4}[ -]?[0-9]{3,4})(?:[^0-9]|$)",
    "account": r"\b[A-Z]{2}[0-9]{2}(?: ?[0-9A-Z]{4}){3,7}(?: ?[0-9A-Z]{1,3})?\b",
}

#: A key made of digits alone looks like a record number; a random surrogate of 8 characters hardly ever is one.
_KEY_DIGITS = r"^\s*[0-9]+\s*$"
_KEY_SHARE = 0.05

#: Five words of letters in a row: free text, in which anything may stand.
_FREE_TEXT = r"(?:\p{L}{2,}[\s,.;:!?'-]+){4,}\p{L}{2,}"


@dataclass(frozen=True)
class Finding:
    """A column that looks like identifying data. `count` is the number of cells (0: the heading alone tells)."""

    column_no: int
    column: str
    kind: str
    count: int


def _counts(frame: pl.DataFrame, columns: Sequence[str], pattern: str) -> dict[str, int]:
    """Count the cells of each column in which `pattern` is found.

    Looks at different values only, because a column of millions of cells often has few of them.
    """
    hit = pl.col("value").str.contains(pattern)
    found = {}
    for name in columns:
        values = frame.select(pl.col(name).alias("value").value_counts(name="n")).unnest("value")
        found[name] = int(values.filter(hit)["n"].sum())
    return found


def _by_value(headings: Sequence[str], frame: pl.DataFrame, contract: Collection[str]) -> list[tuple[str, str, int]]:
    found = [
        (name, kind, n)
        for kind, pattern in VALUES.items()
        for name, n in _counts(frame, [h for h in headings if h != "client_key"], pattern).items()
        if n
    ]
    unknown = [h for h in headings if h not in contract]
    found += [(name, "free text", n) for name, n in _counts(frame, unknown, _FREE_TEXT).items() if n]
    digits = _counts(frame, [h for h in headings if h == "client_key"], _KEY_DIGITS).get("client_key", 0)
    if digits > _KEY_SHARE * max(frame.height, 1):
        found.append(("client_key", "record number", digits))
    return found


def findings(headings: Sequence[str], frame: pl.DataFrame, contract: Collection[str] = ()) -> list[Finding]:
    """Return every column of a text frame that looks like a direct identifier, in the order of the headings.

    contract: names of the columns that the contract knows; their headings are trusted, their values are not.
    """
    places = {name: k for k, name in enumerate(headings, start=1)}
    by_heading = [(h, kind, frame[h].count()) for h in headings if h not in contract and (kind := heading_kind(h))]
    listed = by_heading + _by_value(headings, frame, contract)
    return sorted((Finding(places[n], n, kind, count) for n, kind, count in listed),
                  key=lambda f: (f.column_no, f.kind, f.count))
