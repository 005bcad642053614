"""Judges a large file inside the database: the same verdict as for a small one, and only faulty rows come out of it."""

from __future__ import annotations

import csv
from dataclasses import dataclass

import polars as pl

from pipeline.contract import TABLES, Table
from pipeline.contract.sql import BLANKS, sql_verdict
from pipeline.errors import FileRefused, RmtError
from pipeline.identity import shown_heading
from pipeline.ingest import Broken, RawTable
from pipeline.ingest.csv_file import walk_blocks
from pipeline.ingest.csv_scan import Scan
from pipeline.store import CsvSource, Store
from pipeline.validate import set_aside
from pipeline.validate.repeats import repeated_rows
from pipeline.validate.verdict import FileVerdict

#: Kinds whose text is not kept as it was written.
_NUMBERS = ("whole", "number")

#: Rows of the scratch table whose line is their place and not written down.
_BY_PLACE = 0


@dataclass(frozen=True)
class Scanned:
    """A file's rows in `scratch.<table>`: typed, with `fault_bits`, `raw_` of faulty rows, and the columns that the
    contract does not know. `line` is the SQL that gives a row's line."""

    raw: RawTable
    table: Table
    columns: tuple[str, ...]
    line: str
    n_rows: int
    broken: tuple[Broken, ...]

    @property
    def n_read(self) -> int:
        return self.n_rows + len(self.broken)


def column_names(raw: RawTable) -> tuple[str, ...]:
    """Name the columns of a file for SQL: the contract's as they are, others by their place (`beside_7`)."""
    known = TABLES[raw.table].column_names
    return tuple(h if h in known else f"beside_{k}" for k, h in enumerate(raw.headings, start=1))


def scan(store: Store, raw: RawTable, *, buffer_bytes: int = 8_000_000) -> Scanned:
    """Bring a surveyed file into `scratch.<table>`.

    The database reads it where the survey proves that a record's place tells its line, and where it then finds as many
    records as the file has lines and rejects none. Any other file is walked, record by record, in blocks.
    """
    assert raw.scan is not None
    table, columns, file = TABLES[raw.table], column_names(raw), raw.scan
    others = [c for c in columns if c not in table.column_names]

    def judged(relation: str) -> str:
        return sql_verdict(table, columns, relation, raw=columns, beside=others)

    def by_place(reader: str) -> str:
        return judged(f"(select {_BY_PLACE} as line_, * from {reader})")

    n_rows, line, broken = file.n_records, "(rowid + 2)", tuple[Broken, ...]()
    source = CsvSource(file.path, columns, file.delimiter, buffer_bytes)
    if not (file.is_plain and len(columns) > 1 and store.scratch.create_from_csv(table.name, source, by_place) == 0
            and _counts(store, table) == (n_rows, n_rows - 1) and _is_in_order(store, table, columns, file)):
        n_rows, broken = _walk(store, raw, file, judged("incoming"))
        line = "line_"
    if file.has_changed():
        raise FileRefused([RmtError(f"refused by {raw.table}.file.changed: the file was written to while it was read",
                                    where=raw.file, expected="a file at rest", now="wait until it is whole")])
    return Scanned(raw, table, columns, line, n_rows, broken)


def _counts(store: Store, table: Table) -> tuple[int, int]:
    """Return how many rows the scratch table has, and its last row's place (from 0; -1 where there are none)."""
    found = store.sql(f"select count(*) as n, coalesce(max(rowid), -1) as last from scratch.{table.name}")
    return int(found["n"][0]), int(found["last"][0])


def _raw(place: int) -> str:
    """Write the text of a faulty row's cell, by the place of its column."""
    return f"json_extract_string(raw_, '$[{place}]')"


def _is_in_order(store: Store, table: Table, columns: tuple[str, ...], file: Scan) -> bool:
    """Say whether the rows stand in the order of the file: sampled lines must stand at their own places."""
    told = [k for k, c in enumerate(columns) if c in table.column_names and table.column(c).kind not in _NUMBERS]
    cells = [f"coalesce({_raw(k)}, cast({columns[k]} as varchar))" for k in told]
    lines = {n: next(csv.reader([line.decode("utf-8-sig")], delimiter=file.delimiter)) for n, line in file.samples}
    places = pl.DataFrame({"place": list(lines)}, schema={"place": pl.Int64})
    with store.frame("sampled", places):
        rows = store.sql(f"select rowid as place, {', '.join(f'{c} as c{k}' for k, c in enumerate(cells))} "
                         f"from scratch.{table.name} where rowid in (select place from sampled) order by place")
    return rows.height == len(lines) and all(
        (cell or "").strip(BLANKS) == lines[place][k].strip(BLANKS)
        for place, *found in rows.iter_rows() for k, cell in zip(told, found, strict=True))


def _walk(store: Store, raw: RawTable, file: Scan, verdict: str) -> tuple[int, tuple[Broken, ...]]:
    """Fill the scratch table from a walk of the file; return how many rows it has, and the broken records."""
    n_rows, broken, columns = 0, list[Broken](), column_names(raw)
    start = "create or replace table scratch.{} as"
    for block in walk_blocks(raw, file):
        rows = block.rows.rename(dict(zip(raw.headings, columns, strict=True)))
        with store.frame("incoming", rows):
            store.scratch.execute(f"{start.format(raw.table)} {verdict}\norder by line_")
        n_rows, start = n_rows + rows.height, "insert into scratch.{}"
        broken += block.broken
    return n_rows, tuple(broken)


def values(store: Store, found: Scanned, place: int) -> pl.DataFrame:
    """Return the different texts of a column in which an identifier could stand, as `value` and `n` cells.

    A well-formed number, day or code is none, so of such columns only the faulty rows' cells come.
    """
    name = found.columns[place]
    known = {c.name: c.kind for c in found.table.columns}
    is_open = known.get(name, "label") in ("key", "label")
    text = f"coalesce({_raw(place)}, {name})" if is_open else _raw(place)
    where = "" if is_open else "where fault_bits <> 0"
    cells = f"select {text} as value from scratch.{found.table.name} {where}"
    return store.sql(f"select value, count(*) as n from ({cells}) "
                     "where value is not null group by value order by value")


def _faulty(store: Store, found: Scanned) -> pl.DataFrame:
    """Return the faulty rows, typed, with their text as a JSON list in `raw_`."""
    names = ", ".join(found.table.column_names)
    return store.sql(f"select {found.line} as line_, {names}, fault_bits, raw_ from scratch.{found.table.name} "
                     "where fault_bits <> 0 order by line_")


def _repeats(store: Store, found: Scanned) -> pl.DataFrame:
    """Return the rows that may not stand beside another of their key (see `repeated_rows`).

    Rows of one key have one hash, so only rows whose hash comes twice need be compared.
    """
    key, name = ", ".join(found.table.natural_key), found.table.name
    whole = " and ".join(f"{k} is not null" for k in found.table.natural_key)
    good = f"scratch.{name} where fault_bits = 0 and {whole}"
    hashes = store.sql(f"select hash({key}) as h from {good}")["h"].sort()
    twice = hashes.filter(hashes == hashes.shift(1)).unique().sort().to_frame()
    columns = ", ".join(found.table.column_names)
    with store.frame("twice", twice):
        rows = store.sql(f"select {found.line} as line_, {columns} from {good} "
                         f"and hash({key}) in (select h from twice) order by line_")
    return repeated_rows(found.table, rows)


def _kept(store: Store, found: Scanned, repeats: pl.DataFrame) -> tuple[str, int]:
    """Write the SELECT of the rows to load (contract's columns, `ordinal`, `line`), in their order; count them."""
    name, table = found.table.name, found.table
    without = ""
    if repeats.height:
        with store.frame("repeats", repeats.select("line_")):
            store.scratch.execute(f"create or replace table scratch.repeats_{name} as select line_ from repeats")
        without = f" and {found.line} not in (select line_ from scratch.repeats_{name})"
    key = ", ".join(table.natural_key)
    part = " or ".join(f"{k} is null" for k in table.natural_key)
    store.scratch.execute(
        f"create or replace table scratch.ordinals_{name} as select place, row_number() over (partition by {key} "
        f"order by place) as ordinal from (select {found.line} as place, {key} from scratch.{name} "
        f"where fault_bits = 0 and ({part}))")
    numbered = bool(store.sql(f"select count(*) as n from scratch.ordinals_{name}")["n"][0])
    join = f" left join scratch.ordinals_{name} as o on o.place = s.line" if numbered else ""
    ordinal = "coalesce(o.ordinal, 0)" if numbered else "cast(0 as bigint)"
    columns = ", ".join(table.column_names)
    n_good = int(store.sql(f"select count(*) as n from scratch.{name} where fault_bits = 0")["n"][0])
    return (f"(select {columns}, {ordinal} as ordinal, s.line from (select {columns}, {found.line} as line "
            f"from scratch.{name} where fault_bits = 0{without}) as s{join})", n_good - repeats.height)


def judge(store: Store, found: Scanned) -> FileVerdict:
    """Return the verdict on a scanned file; its kept rows stay in the database (`FileVerdict.relation`)."""
    raw, table = found.raw, found.table
    typed = _faulty(store, found)
    cells = pl.col("raw_").str.json_decode(pl.List(pl.String))
    text = typed.select("line_", *(cells.list.get(k).alias(h) for k, h in enumerate(raw.headings)))
    repeats = _repeats(store, found)
    relation, n_kept = _kept(store, found, repeats)
    about = pl.concat([typed.drop("raw_"), _rows_at(store, found, repeats)])
    records = set_aside.records(
        RawTable(raw.table, raw.file, raw.sha256, raw.headings, text, found.broken), table, about, repeats)
    unknown = tuple(shown_heading(h) for h in raw.headings if h not in table.column_names)
    known = set_aside.cells(table, about, repeats, found.broken)
    return FileVerdict(raw.file, raw.table, raw.sha256, found.n_read, pl.DataFrame(), records, unknown,
                       relation=relation, n_in_relation=n_kept, cells=known)


def _rows_at(store: Store, found: Scanned, repeats: pl.DataFrame) -> pl.DataFrame:
    """Return the typed rows of the repeats, so that their records can say whom and when they speak of."""
    names = ", ".join(found.table.column_names)
    with store.frame("repeats", repeats.select("line_")):
        return store.sql(f"select {found.line} as line_, {names}, fault_bits from scratch.{found.table.name} "
                         f"where fault_bits = 0 and {found.line} in (select line_ from repeats) order by line_")


def mip_signs(store: Store, found: Scanned) -> pl.DataFrame:
    """Return `side` (-1 or 1), `n` and the first `lines` of the MIP values below and above 0."""
    return store.sql(
        f"select cast(sign(value) as bigint) as side, count(*) as n, list_sort(list({found.line}))[:6] as lines "
        f"from scratch.{found.table.name} where pressure = 'mip' and value <> 0 group by side order by side")
