"""Reads the files of a folder through an intake map: each source once, then the rows of every table it gives."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from fnmatch import fnmatchcase
from pathlib import Path

import polars as pl

from pipeline.contract import TABLES
from pipeline.errors import RmtError
from pipeline.identity import findings
from pipeline.ingest import excel
from pipeline.ingest.days import disproved
from pipeline.ingest.delimited import Dialect, read_delimited
from pipeline.ingest.formats import JSON_LINES, TEXT, suffix_of
from pipeline.ingest.json_lines import read_json_lines
from pipeline.ingest.maps import Block, IntakeMap, Source, heading_of, nearest
from pipeline.ingest.maps_cells import trimmed
from pipeline.ingest.maps_rows import filled_down, rows_of
from pipeline.ingest.parquet_file import read_parquet
from pipeline.ingest.raw import LINE, PART, SHEET, RawTable, Unreadable

#: Kinds of identifiers whose headings are told even where the map reads the column: no table has a column for them.
#: (A record number's heading may stand over a surrogate key; the key's values are judged for themselves.)
_NEVER_READ = frozenset(("name", "birth date", "e-mail", "telephone", "fax", "address", "postal code",
                         "social security number", "insurance number"))


def _file_of(folder_files: Iterable[Path], source: Source) -> Path | None:
    """Find the one file that a source means; None where an optional one is not there."""
    found = [p for p in folder_files if fnmatchcase(p.name.casefold(), source.file.casefold())]
    if len(found) == 1:
        return found[0]
    if not found and source.optional:
        return None
    names = [p.name for p in folder_files]
    what = "there is no such file in the folder" if not found else f"{len(found)} files of the folder have such a name"
    raise Unreadable("map.file", source.file, what + (nearest(source.file, names) if not found else ""),
                     "one file for each source of the map", "put it there, or mend 'file' in the map")


def _sheet_of(book: excel.Workbook, source: Source) -> str:
    """Find the sheet that a source means: by name in any case, or the only one."""
    wanted = source.sheet
    if wanted is None and len(book.sheets) == 1:
        return book.sheets[0]
    alike = [s for s in book.sheets if wanted is not None and s.strip().casefold() == wanted.strip().casefold()]
    if len(alike) == 1:
        return alike[0]
    what = "the map names no sheet, and there are several" if wanted is None else "there is no sheet of this name"
    raise Unreadable("map.sheet", f"{book.name}#{wanted}" if wanted else book.name,
                     what + nearest(wanted or "", book.sheets), "the sheet's name as in the workbook",
                     "mend 'sheet' in the map")


def _read(path: Path, source: Source) -> tuple[RawTable, bool, bool]:
    """Read a source as it stands: (records, is it a workbook, does it count days from 1904)."""
    suffix, table = suffix_of(path), source.blocks[0].table
    if suffix in excel.SUFFIXES:
        book = excel.Workbook(path, table)
        raw = excel.read_sheet(book, _sheet_of(book, source), table, source.header_rows)
        return raw, True, book.counts_from_1904
    if suffix in TEXT:
        dialect = Dialect(source.delimiter or ",", source.encoding)
        return read_delimited(path, table, dialect, source.header_rows[-1]), False, False
    if suffix in JSON_LINES:
        return read_json_lines(path, table), False, False
    if suffix == ".parquet":
        return replace(read_parquet(path), table=table), False, False
    raise Unreadable("map.file", path.name, "no reader knows this format", "text, JSON Lines, Parquet or .xlsx",
                     "save it in one of these formats")


def _named_as_in_map(raw: RawTable, source: Source) -> RawTable:
    """Return the records with the headings spelled as in the map; Unreadable names each that is missing."""
    meant = {wanted: heading_of(source, raw.headings, wanted) for wanted in source.headings()}
    lacking = [w for w, found in meant.items() if found is None]
    if lacking:
        said = "; ".join(f"'{w}'{nearest(w, raw.headings)}" for w in lacking)
        raise Unreadable("map.heading", f"{raw.file}:{source.header_rows[-1]}",
                         f"the file lacks headings that the map names: {said}", "every heading of the map",
                         "mend the map, or 'header_row' in it")
    spelled = {found: w for w, found in meant.items() if found}
    clash = set(TABLES[source.blocks[0].table].column_names) | {c for b in source.blocks for c in b.filled_columns()}
    names = {h: spelled.get(h, f"{h} (not mapped)" if h in clash else h) for h in raw.headings}
    return replace(raw, headings=tuple(names.values()), rows=raw.rows.rename(names))


def _extra(raw: RawTable, source: Source) -> list[str]:
    """Return the headings that the gate must see beside the mapped columns: those that no table reads, and those that
    announce an identifier although the map reads them."""
    read = set(source.headings())
    telling = {f.column for f in findings(raw.headings, raw.rows.clear()) if f.kind in _NEVER_READ}
    return [h for h in raw.headings if h not in read or h in telling]


def _order_faults(raw: RawTable, source: Source, block: Block) -> list[RmtError]:
    """Say where the rows of a source disprove the order of days that the map declares for it."""
    if source.date_order is None:
        return []
    days = {c.name for c in TABLES[block.table].columns if c.kind == "day"}
    pairs = {(n, h) for p in (block.shared, *block.repeat) for n, h in p.columns.items() if n in days}
    found = [disproved(raw.file, n, raw.rows.select(LINE, pl.col(h).alias(n)), source.date_order)
             for n, h in sorted(pairs)]
    return [f for f in found if f]


def tables_of(path: Path, source: Source) -> tuple[list[RawTable], list[RmtError]]:
    """Read one source and make its tables; the faults are those that refuse the file whole."""
    raw, is_workbook, from_1904 = _read(path, source)
    raw = _named_as_in_map(raw, source)
    cells = [trimmed(raw.rows[h], source.blanks) for h in raw.headings]
    rows = filled_down(pl.DataFrame([*cells, raw.rows[LINE]]), source.fill_down)
    raw = replace(raw, rows=rows)
    extra = _extra(raw, source)
    made: dict[str, list[pl.DataFrame]] = {}
    faults: list[RmtError] = []
    for block in source.blocks:
        faults += _order_faults(raw, source, block)
        table = rows_of(rows, block, source, extra, is_workbook=is_workbook, counts_from_1904=from_1904)
        # a column beside the tables stands where it has cells; an empty one stands with the first table
        empty = [h for h in extra if block is not source.blocks[0] and not table[h].count()]
        made.setdefault(block.table, []).append(table.drop(empty))
    return [_raw_table(raw, source, table, frames) for table, frames in made.items()], faults


def _of_sheets(path: Path, source: Source) -> tuple[list[RawTable], list[RmtError]]:
    """Read every sheet of a source and put the tables of one name below each other."""
    made: dict[str, list[RawTable]] = {}
    faults: list[RmtError] = []
    for sheet in source.sheets:
        tables, refused = tables_of(path, replace(source, sheet=sheet, sheets=()))
        faults += refused
        for raw in tables:
            made.setdefault(raw.table, []).append(raw)
    return [_below_each_other(source, raws) for raws in made.values()], faults


def _below_each_other(source: Source, raws: list[RawTable]) -> RawTable:
    """Make one table of those of several sheets; a column that stands elsewhere on another sheet has no number."""
    first = raws[0]
    rows = pl.concat([r.rows.with_columns(pl.col(LINE) + k * SHEET) for k, r in enumerate(raws)], how="diagonal")
    if any(b.once for b in source.blocks if b.table == first.table):
        rows = rows.unique([n for n in TABLES[first.table].column_names if n in rows.columns], keep="first",
                           maintain_order=True)
    headings = tuple(c for c in rows.columns if c != LINE)
    places = {n: at for n, at in (first.places or {}).items() if all((r.places or {}).get(n) == at for r in raws)}
    broken = tuple(replace(b, line=b.line + k * SHEET) for k, r in enumerate(raws) for b in r.broken)
    label = ", ".join([first.file, *(r.file.partition("#")[2] for r in raws[1:])])
    return replace(first, file=label, headings=headings, rows=rows.select(*headings, LINE), broken=broken,
                   places=places, sheets=tuple(r.file for r in raws))


def parts_of(source: Source) -> list[str]:
    """Return the tables that a source gives, each once."""
    return list(dict.fromkeys(b.table for b in source.blocks))


def _raw_table(raw: RawTable, source: Source, table: str, frames: list[pl.DataFrame]) -> RawTable:
    """Put the rows of one table together. The records that had no cells to judge go with the source's first table."""
    parts = max(len(b.parts) for b in source.blocks)
    shifted = [f.with_columns(pl.col(LINE) + k * parts * PART) for k, f in enumerate(frames)]
    rows = pl.concat(shifted, how="diagonal") if len(shifted) > 1 else shifted[0]
    headings = tuple(c for c in rows.columns if c != LINE)
    number = {h: k for k, h in enumerate(raw.headings, start=1)}
    places = {n: number[h] for b in source.blocks if b.table == table
              for p in (*reversed(b.repeat), b.shared) for n, h in p.columns.items()}
    places = {h: number[h] for h in headings if h in number} | places
    broken = raw.broken if table == source.blocks[0].table else ()
    # the pages count rows by file: a source of several tables is named once for each
    label = raw.file if len(parts_of(source)) == 1 else f"{raw.file} ({table})"
    return RawTable(table, label, raw.sha256, headings, rows.select(*headings, LINE), broken, places=places)


def read_mapped(files: list[Path], intake_map: IntakeMap) -> tuple[list[RawTable], list[RmtError], set[str]]:
    """Read every source of a map: (tables, whole-file faults, names of the files it used)."""
    tables: list[RawTable] = []
    faults: list[RmtError] = []
    used: set[str] = set()
    for source in intake_map.sources:
        try:
            path = _file_of(files, source)
            if path is None:
                continue
            used.add(path.name)
            found, refused = (_of_sheets if source.sheets else tables_of)(path, source)
        except Unreadable as fault:
            faults.append(fault)
            continue
        tables += found
        faults += refused
    return tables, faults, used
