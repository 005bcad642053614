"""Turns parsed TOML into an intake map, and gathers every fault of it in words."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from pipeline.contract import SPELLING, TABLES, Table
from pipeline.ingest.delimited import DELIMITERS
from pipeline.ingest.maps import DATE_ORDERS, Block, IntakeMap, Part, Source, Ticks, nearest
from pipeline.ingest.maps_units import unit_of
from pipeline.ingest.raw import plain
from pipeline.ingest.text_bytes import ENCODINGS

_MAP = {"name": str, "about": str, "open_questions": list, "source": list}
_SOURCE = {"file": str, "sheet": (str, list), "header_row": (int, list), "delimiter": str, "encoding": str,
           "fill_down": list, "date_order": str, "serial_dates": bool, "decimal_comma": bool, "blanks": list,
           "optional": bool, "table": list}
_BLOCK = {"name": str, "columns": dict, "constants": dict, "codes": dict, "units": dict, "where": dict, "once": bool,
          "repeat": list, "ticks": dict}
_PART = {"columns": dict, "constants": dict}
_TICKS = {"marks": list, "counts": dict, "blank": str}

Faults = list[str]


def _known(given: Any, kinds: Mapping[str, Any], place: str, faults: Faults) -> dict[str, Any]:
    """Return the entries of the right name and kind; say the others."""
    if not isinstance(given, dict):
        faults.append(f"{place} must be a table of TOML")
        return {}
    good = {}
    for name, value in given.items():
        if name not in kinds:
            faults.append(f"{place}: '{name}' is no word of a map{nearest(name, kinds)}")
        elif not isinstance(value, kinds[name]) or (isinstance(value, bool) and kinds[name] is not bool):
            faults.append(f"{place}: '{name}' is of the wrong kind")
        else:
            good[name] = value
    return good


def _texts(given: Any, place: str, faults: Faults) -> tuple[str, ...]:
    listed = given if isinstance(given, list) else [given]
    if not all(isinstance(v, str | int) and not isinstance(v, bool) for v in listed):
        faults.append(f"{place}: expected texts")
        return ()
    return tuple(str(v) for v in listed)


def _by_column(given: Any, table: Table, place: str, faults: Faults) -> dict[str, str]:
    """Read column -> text, and say columns that the table does not have."""
    found = {}
    for name, value in dict(given).items():
        if name not in table.column_names:
            faults.append(f"{place}: the table {table.name} has no column '{name}'{nearest(name, table.column_names)}")
        elif isinstance(value, bool) or not isinstance(value, str | int | float):
            faults.append(f"{place}: '{name}' must be one text or number")
        else:
            found[name] = str(value)
    return found


def _constant_fits(table: Table, name: str, text: str) -> bool:
    column = table.column(name)
    return text in column.codes if column.codes else re.fullmatch(SPELLING[column.kind], text) is not None


def _part(given: Any, table: Table, place: str, faults: Faults) -> Part:
    entries = _known(given, _PART, place, faults)
    columns = _by_column(entries.get("columns", {}), table, f"{place}, columns", faults)
    constants = _by_column(entries.get("constants", {}), table, f"{place}, constants", faults)
    for name, text in constants.items():
        if not _constant_fits(table, name, text):
            faults.append(f"{place}: the constant of '{name}' is not {table.column(name).expected}")
        if name in columns:
            faults.append(f"{place}: '{name}' has a heading and a constant")
    return Part({n: plain(h) for n, h in columns.items()}, constants)


def _codes(given: Any, table: Table, place: str, faults: Faults) -> dict[str, dict[str, str]]:
    found: dict[str, dict[str, str]] = {}
    for name, words in dict(given).items():
        if name not in table.column_names or not isinstance(words, dict):
            faults.append(f"{place}: '{name}' is no column with a list of codes{nearest(name, table.column_names)}")
            continue
        found[name] = {plain(str(said)).casefold(): str(code) for said, code in words.items()}
        faults += [f"{place}: '{code}' is no code of '{name}' (expected {table.column(name).expected})"
                   for code in found[name].values() if code and not _constant_fits(table, name, code)]
    return found


def _units(given: Any, table: Table, place: str, faults: Faults) -> dict[str, str]:
    found = _by_column(given, table, place, faults)
    for name, unit in found.items():
        if isinstance(problem := unit_of(table, name, unit), str):
            faults.append(f"{place}: {problem}")
    return found


def _ticks(given: Any, table: Table, place: str, faults: Faults) -> Ticks | None:
    if given is None:
        return None
    entries = _known(given, _TICKS, place, faults)
    counts: dict[str, tuple[tuple[str, ...], ...]] = {}
    for name, groups in entries.get("counts", {}).items():
        if name not in table.column_names:
            faults.append(f"{place}: the table {table.name} has no column '{name}'{nearest(name, table.column_names)}")
        elif not isinstance(groups, list) or not groups:
            faults.append(f"{place}: '{name}' must be a list of headings, or of lists of headings")
        else:
            counts[name] = tuple(tuple(map(plain, _texts(g, place, faults))) for g in groups)
    marks = _texts(entries.get("marks", []), place, faults)
    if not marks or not counts:
        faults.append(f"{place}: 'marks' and 'counts' are both needed")
    if (blank := entries.get("blank", "not recorded")) not in ("not recorded", "zero"):
        faults.append(f"{place}: 'blank' must be 'not recorded' or 'zero'")
    return Ticks(tuple(plain(m).casefold() for m in marks), counts, blank == "zero")


def _block(given: Any, place: str, faults: Faults) -> Block | None:
    entries = _known(given, _BLOCK, place, faults)
    name = entries.get("name", "")
    if name not in TABLES:
        faults.append(f"{place}: 'name' must be one of {', '.join(TABLES)}{nearest(name, TABLES)}")
        return None
    table, here = TABLES[name], f"{place} ({name})"
    shared = _part({k: v for k, v in entries.items() if k in _PART}, table, here, faults)
    repeat = tuple(_part(p, table, f"{here}, repeat {k}", faults)
                   for k, p in enumerate(entries.get("repeat", []), start=1))
    where = {plain(h): tuple(plain(t).casefold() for t in _texts(v, here, faults))
             for h, v in entries.get("where", {}).items()}
    block = Block(name, shared, repeat, _codes(entries.get("codes", {}), table, f"{here}, codes", faults),
                  _units(entries.get("units", {}), table, f"{here}, units", faults), where,
                  entries.get("once", False), _ticks(entries.get("ticks"), table, f"{here}, ticks", faults))
    if repeat and not all(p.columns for p in repeat):
        faults.append(f"{here}: every repeat needs headings of its own")
    lacking = [n for n in table.required_names if n not in block.filled_columns()]
    if lacking:
        faults.append(f"{here}: nothing fills the required column " + " and ".join(lacking))
    return block


def _header_rows(given: Any, place: str, faults: Faults) -> tuple[int, ...]:
    rows = given if isinstance(given, list) else [given]
    good = rows and all(isinstance(r, int) and r > 0 for r in rows) and rows == sorted(set(rows))
    if not good:
        faults.append(f"{place}: 'header_row' must be a row number from 1, or a list of them in order")
        return (1,)
    return tuple(rows)


def _sheets(given: Any, place: str, faults: Faults) -> tuple[str | None, tuple[str, ...]]:
    """Read one sheet's name, or the names of several."""
    if not isinstance(given, list):
        return given, ()
    names = _texts(given, place, faults)
    if not names or len(set(names)) < len(names) or not all(names):
        faults.append(f"{place}: 'sheet' must be the name of a sheet, or a list of different names")
    return (names[0], ()) if len(names) == 1 else (None, names)


def _source(given: Any, place: str, faults: Faults) -> Source:
    entries = _known(given, _SOURCE, place, faults)
    if not entries.get("file") or "/" in entries["file"] or "\\" in entries["file"]:
        faults.append(f"{place}: 'file' must be the name of a file in the folder (* stands for any letters)")
    for word, known in (("delimiter", DELIMITERS), ("encoding", ENCODINGS), ("date_order", DATE_ORDERS)):
        if word in entries and entries[word] not in known:
            faults.append(f"{place}: '{word}' must be one of {', '.join(known)}")
    blocks = [_block(b, f"{place}, table {k}", faults) for k, b in enumerate(entries.get("table", []), start=1)]
    if not blocks:
        faults.append(f"{place}: no table is made of it")
    return Source(
        entries.get("file", ""), tuple(b for b in blocks if b), *_sheets(entries.get("sheet"), place, faults),
        _header_rows(entries.get("header_row", 1), place, faults),
        DELIMITERS.get(entries.get("delimiter", "")), entries.get("encoding"),
        tuple(map(plain, _texts(entries.get("fill_down", []), place, faults))), entries.get("date_order"),
        entries.get("serial_dates", False), entries.get("decimal_comma", False),
        tuple(plain(b).casefold() for b in _texts(entries.get("blanks", []), place, faults)),
        entries.get("optional", False))


def read_map(given: Mapping[str, Any], text: str, faults: Faults) -> IntakeMap:
    """Return the map; every fault is added to `faults` as a sentence without its stop."""
    entries = _known(dict(given), _MAP, "map", faults)
    if entries.get("open_questions"):
        faults.append(f"{len(entries['open_questions'])} open questions of the draft are not settled (take each out of "
                      "'open_questions' once it is)")
    sources = tuple(_source(s, f"source {k}", faults) for k, s in enumerate(entries.get("source", []), start=1))
    if not sources:
        faults.append("the map has no [[source]]")
    owner: dict[str, int] = {}
    for number, source in enumerate(sources, start=1):
        for table in {b.table for b in source.blocks}:
            if owner.setdefault(table, number) != number:
                faults.append(f"source {owner[table]} and source {number} both give {table}: one source a table; "
                              "name sheets of one layout in one source (sheet = ['a', 'b']), and load another file "
                              "with a map of its own")
    return IntakeMap(str(entries.get("name", "")), sources, text)
