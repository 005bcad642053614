"""Brings a large CSV file into the database as judged rows: by the database's reader where that is proved right, else
by a walk of its records."""

from __future__ import annotations

import csv
from dataclasses import dataclass

import polars as pl

from pipeline.contract import TABLES, Table
from pipeline.contract.sql import BLANKS, sql_verdict
from pipeline.ingest import Broken, RawTable
from pipeline.ingest.csv_file import refuse_changed, walk_blocks
from pipeline.ingest.csv_scan import Scan, lines_at
from pipeline.ingest.raw import LINE
from pipeline.store import CsvSource, Store

#: Kinds whose text is not kept as it was written.
_NUMBERS = ("whole", "number")

#: The SQL of a row's line where its place in the table tells it (the headings are line 1).
BY_PLACE = "(rowid + 2)"


@dataclass(frozen=True)
class Scanned:
    """A large file's rows in the table `name`: typed, with `fault_bits`; `line` is the SQL that gives a row's line.

    faulty: the faulty rows, typed, with `line_`; text: the same rows as they were written. Where the rows were walked,
    `name` has the columns that the contract does not know too; else they stand in the file alone.
    """

    raw: RawTable
    table: Table
    columns: tuple[str, ...]
    name: str
    line: str
    n_rows: int
    faulty: pl.DataFrame
    text: pl.DataFrame
    broken: tuple[Broken, ...] = ()

    @property
    def n_read(self) -> int:
        return self.n_rows + len(self.broken)

    @property
    def is_walked(self) -> bool:
        return self.line != BY_PLACE


def column_names(raw: RawTable) -> tuple[str, ...]:
    """Name the columns of a file for SQL: the contract's as they are, others by their place (`beside_7`)."""
    known = TABLES[raw.table].column_names
    return tuple(h if h in known else f"beside_{k}" for k, h in enumerate(raw.headings, start=1))


def source(raw: RawTable, buffer_bytes: int = 8_000_000) -> CsvSource:
    """Return a surveyed file as the database reads it."""
    assert raw.scan is not None
    return CsvSource(raw.scan.path, column_names(raw), raw.scan.delimiter, buffer_bytes)


def scan(store: Store, raw: RawTable, *, is_to_load: bool = False, buffer_bytes: int = 8_000_000) -> Scanned:
    """Bring a surveyed file into the database.

    The database reads it where the survey proves that a record's place tells its line, and where it then finds as many
    records as the file has lines, rejects none and keeps their order. Any other file is walked, record by record, in
    blocks. is_to_load: the first rows of a table go where they shall stay, so that loading them writes them no second
    time.
    """
    assert raw.scan is not None
    table = TABLES[raw.table]
    is_first = is_to_load and store.sql(f"select 1 as a from received.{table.name} limit 1").is_empty()
    name = f"received.{table.name}_judged" if is_first else f"scratch.{table.name}"
    found = _read(store, raw, name, raw.scan, buffer_bytes)
    if found is None:
        store.scratch.execute(f"drop table if exists {name}")
        found = _walk(store, raw, raw.scan)
    refuse_changed(raw, raw.scan)
    return found


def _read(store: Store, raw: RawTable, name: str, file: Scan, buffer_bytes: int) -> Scanned | None:
    """Let the database read the file; None where what it read is not proved right."""
    table, columns, n = TABLES[raw.table], column_names(raw), file.n_records
    batch = int(store.sql("select coalesce(max(batch_id), 0) + 1 as n from received.batches")["n"][0])
    quoted = raw.file.replace("'", "''")

    def select(reader: str) -> str:
        verdict = sql_verdict(table, columns, f"(select 0 as {LINE}, * from {reader})")
        return (f"select {', '.join(table.column_names)}, cast(0 as bigint) as ordinal, cast({batch} as bigint) as "
                f"from_batch, cast(null as bigint) as to_batch, '{quoted}' as file, fault_bits from ({verdict})")

    if not file.is_plain or len(columns) < 2 or store.scratch.create_from_csv(
            name, source(raw, buffer_bytes), select) != 0:
        return None
    counted = store.sql(f"select count(*) as n, coalesce(max(rowid), -1) as last from {name}").row(0)
    if counted != (n, n - 1) or not _is_in_order(store, table, columns, name, file):
        return None
    faulty = _faulty(store, table, name, BY_PLACE)
    return Scanned(raw, table, columns, name, BY_PLACE, n, faulty, _text(raw, file, faulty[LINE].to_list()))


def _is_in_order(store: Store, table: Table, columns: tuple[str, ...], name: str, file: Scan) -> bool:
    """Say whether the rows stand in the order of the file: sampled lines, unless faulty, must stand at their places."""
    told = [k for k, c in enumerate(columns) if c in table.column_names and table.column(c).kind not in _NUMBERS]
    lines = {n: next(csv.reader([line.decode("utf-8-sig")], delimiter=file.delimiter)) for n, line in file.samples}
    cells = ", ".join(f"cast({columns[k]} as varchar) as c{k}" for k in told)
    with store.frame("sampled", pl.DataFrame({"place": list(lines)}, schema={"place": pl.Int64})):
        rows = store.sql(f"select rowid as place, fault_bits, {cells} from {name} "
                         "where rowid in (select place from sampled) order by place")
    return rows.height == len(lines) and all(
        bits or (cell or "") == lines[place][k].strip(BLANKS)
        for place, bits, *found in rows.iter_rows() for k, cell in zip(told, found, strict=True))


def _faulty(store: Store, table: Table, name: str, line: str) -> pl.DataFrame:
    return store.sql(f"select {line} as {LINE}, {', '.join(table.column_names)}, fault_bits from {name} "
                     f"where fault_bits <> 0 order by {LINE}")


def _text(raw: RawTable, file: Scan, lines: list[int]) -> pl.DataFrame:
    """Return the cells on some lines of a plain file as text, with `line_`."""
    cells = [next(csv.reader([line.decode()], delimiter=file.delimiter)) for line in lines_at(file, lines)]
    frame = pl.DataFrame(cells, schema=dict.fromkeys(raw.headings, pl.String), orient="row")
    filled = frame.with_columns(pl.when(pl.col(pl.String) != "").then(pl.col(pl.String)))
    return filled.with_columns(pl.Series(LINE, lines, dtype=pl.Int64))


def _walk(store: Store, raw: RawTable, file: Scan) -> Scanned:
    """Fill a scratch table from a walk of the file."""
    table, columns, name = TABLES[raw.table], column_names(raw), f"scratch.{raw.table}"
    beside = [c for c in columns if c not in table.column_names]
    verdict = sql_verdict(table, columns, "incoming", beside=beside) + f"\norder by {LINE}"
    n_rows, broken, texts, start = 0, list[Broken](), list[pl.DataFrame](), f"create or replace table {name} as"
    for block in walk_blocks(raw, file):
        rows = block.rows.rename(dict(zip(raw.headings, columns, strict=True)))
        with store.frame("incoming", rows):
            store.scratch.execute(f"{start} {verdict}")
        first = block.rows[LINE].to_list()[0] if block.rows.height else 0
        bad = store.sql(f"select {LINE} from {name} where fault_bits <> 0 and {LINE} >= $first", {"first": first})
        texts.append(block.rows.join(bad, on=LINE, how="semi", maintain_order="left"))
        n_rows, start = n_rows + rows.height, f"insert into {name}"
        broken += block.broken
    faulty = _faulty(store, table, name, LINE)
    return Scanned(raw, table, columns, name, LINE, n_rows, faulty, pl.concat(texts), tuple(broken))
