"""Reads JSON Lines: one flat object a line, its names the headings, its values as the text that stands in the file."""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.ingest.raw import LINE, Broken, RawTable, Unreadable, check_headings
from pipeline.ingest.text_bytes import decoded, file_bytes, unpacked

#: NUL, and halves of characters outside the first 65,536.
_NO_CHARACTER = re.compile("[\0\ud800-\udfff]")

_EXPECTED = "one object of names and plain values"


class _NotFlat(ValueError):
    """A line that is no flat object; its text is the shape that was seen."""


def _pairs(pairs: list[tuple[str, Any]]) -> dict[str, str | None]:
    """Turn one object into text by name; booleans as yes and no, null and "" as empty."""
    found: dict[str, str | None] = {}
    for name, value in pairs:
        if name in found:
            raise _NotFlat("a name that stands twice")
        if isinstance(value, dict | list):
            raise _NotFlat("values inside values")
        found[name] = ("yes" if value else "no") if isinstance(value, bool) else value or None
    return found


def _object(line: str) -> dict[str, str | None]:
    try:
        found = json.loads(line, object_pairs_hook=_pairs, parse_int=str, parse_float=str, parse_constant=_no_number)
    except _NotFlat:
        raise
    except (ValueError, RecursionError) as fault:
        raise _NotFlat("no JSON") from fault
    if not isinstance(found, dict):
        raise _NotFlat("no object")
    # such a character can only come from an escape, or from bytes that were not UTF-8
    if ("\\u" in line or not line.isascii()) and any(_NO_CHARACTER.search(v) for v in found.values() if v):
        raise _NotFlat("a character that is none")
    return found


def _no_number(word: str) -> None:
    """Read NaN and Infinity, which are no JSON numbers, as empty."""


def read_json_lines(path: Path, table: str | None = None) -> RawTable:
    """Read a JSON Lines file (.jsonl, .ndjson) as text; a line that is no flat object is set apart as `row.json`."""
    table = table or path.name.split(".")[0]
    data = file_bytes(path, table)
    text, _ = decoded(unpacked(data, path.name, table), path.name, table)
    lines, rows, broken = [], [], []
    for number, line in enumerate(text.split("\n"), start=1):
        if not line.strip():
            continue
        try:
            rows.append(_object(line))
            lines.append(number)
        except _NotFlat as fault:
            broken.append(Broken(number, f"{table}.row.json", _EXPECTED, str(fault)))
    if broken and not rows:
        raise Unreadable(f"{table}.file.format", f"{path.name}:{broken[0].line}", "no line is a JSON object",
                         "JSON Lines", "export it as JSON Lines, or give it the suffix of its format")
    names = list(dict.fromkeys(name for row in rows for name in row))
    if not names:
        raise Unreadable(f"{table}.file.empty", path.name, "the file is empty", "one object a line",
                         "export it again, or take it out of the folder")
    headings = check_headings(path.name, table, names)
    frame = pl.DataFrame(rows, schema=dict.fromkeys(names, pl.String), orient="row")
    frame.columns = list(headings)
    frame = frame.with_columns(pl.Series(LINE, lines, dtype=pl.Int64))
    return RawTable(table, path.name, hashlib.sha256(data).hexdigest(), headings, frame, tuple(broken))
