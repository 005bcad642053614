"""The verdict on a large file that stands in the database: only faulty and repeated rows come out of it."""

from __future__ import annotations

import polars as pl

from pipeline.identity import shown_heading
from pipeline.ingest import RawTable
from pipeline.store import Store
from pipeline.validate import set_aside
from pipeline.validate.repeats import repeated_rows
from pipeline.validate.scanned import Scanned, source
from pipeline.validate.verdict import FileVerdict

#: Rows without a whole key up to which their numbers are written into the table; above, the table is written anew.
_FEW = 100_000


def values(store: Store, found: Scanned, place: int) -> pl.DataFrame:
    """Return the different texts of a column in which an identifier could stand, as `value` and `n` cells.

    A well-formed number, day or code is none, so of such columns only the faulty rows' cells come.
    """
    column, heading = found.columns[place], found.raw.headings[place]
    kind = next((c.kind for c in found.table.columns if c.name == column), None)
    if kind is None and not found.is_walked:
        return store.scratch.count_values(source(found.raw), column)
    good = pl.DataFrame(schema={"value": pl.String, "n": pl.Int64})
    if kind in (None, "key", "label"):
        among = "fault_bits = 0 and " if kind else ""
        good = store.sql(f"select {column} as value, count(*) as n from {found.name} "
                         f"where {among}{column} is not null group by {column}")
    bad = found.text.select(value=pl.col(heading)).drop_nulls().group_by("value").agg(n=pl.len().cast(pl.Int64))
    return pl.concat([good, bad]).group_by("value").agg(pl.col("n").sum()) if kind else good


def _repeats(store: Store, found: Scanned) -> pl.DataFrame:
    """Return the rows that may not stand beside another of their key (see `repeated_rows`).

    Rows of one key have one hash, so only rows whose hash comes twice need be compared.
    """
    key = ", ".join(found.table.natural_key)
    whole = " and ".join(f"{k} is not null" for k in found.table.natural_key)
    good = f"{found.name} where fault_bits = 0 and {whole}"
    hashes = store.sql(f"select hash({key}) as h from {good}")["h"].sort()
    twice = hashes.filter(hashes == hashes.shift(1)).unique().sort().to_frame()
    columns = ", ".join(found.table.column_names)
    with store.frame("twice", twice):
        rows = store.sql(f"select {found.line} as line_, {columns} from {good} "
                         f"and hash({key}) in (select h from twice) order by line_")
    return repeated_rows(found.table, rows)


def _prepare(store: Store, found: Scanned, repeats: pl.DataFrame) -> tuple[str, int]:
    """Make the scratch tables of rows to leave out and of ordinals; return the SELECT of the rows to load (contract's
    columns, `ordinal`, `line`) and the number of rows without a whole key."""
    table, line, key = found.table, found.line, ", ".join(found.table.natural_key)
    with store.frame("repeats", repeats.select("line_")):
        store.scratch.execute(f"create or replace table scratch.repeats_{table.name} as select line_ from repeats")
    part = " or ".join(f"{k} is null" for k in table.natural_key)
    store.scratch.execute(
        f"create or replace table scratch.ordinals_{table.name} as select place, row_number() over (partition by {key} "
        f"order by place) as ordinal from (select {line} as place, {key} from {found.name} "
        f"where fault_bits = 0 and ({part}))")
    n_part = int(store.sql(f"select count(*) as n from scratch.ordinals_{table.name}")["n"][0])
    columns = ", ".join(table.column_names)
    without = f" and {line} not in (select line_ from scratch.repeats_{table.name})" if repeats.height else ""
    rows = f"select {columns}, {line} as line from {found.name} where fault_bits = 0{without}"
    if not n_part:
        return f"(select {columns}, cast(0 as bigint) as ordinal, line from ({rows}))", 0
    return (f"(select {columns}, coalesce(o.ordinal, 0) as ordinal, s.line from ({rows}) as s "
            f"left join scratch.ordinals_{table.name} as o on o.place = s.line)", n_part)


def _rows_at(store: Store, found: Scanned, repeats: pl.DataFrame) -> pl.DataFrame:
    """Return the typed rows of the repeats, so that their records can say whom and when they speak of."""
    names = ", ".join(found.table.column_names)
    with store.frame("repeats", repeats.select("line_")):
        return store.sql(f"select {found.line} as line_, {names}, fault_bits from {found.name} "
                         f"where fault_bits = 0 and {found.line} in (select line_ from repeats) order by line_")


def judge(store: Store, found: Scanned) -> FileVerdict:
    """Return the verdict on a scanned file; its kept rows stay in the database (`FileVerdict.relation`)."""
    raw, table = found.raw, found.table
    repeats = _repeats(store, found)
    relation, n_part = _prepare(store, found, repeats)
    about = pl.concat([found.faulty, _rows_at(store, found, repeats)])
    bad = RawTable(raw.table, raw.file, raw.sha256, raw.headings, found.text, found.broken)
    records = set_aside.records(bad, table, about, repeats)
    unknown = tuple(shown_heading(h) for h in raw.headings if h not in table.column_names)
    return FileVerdict(
        raw.file, raw.table, raw.sha256, found.n_read, pl.DataFrame(), records, unknown, relation=relation,
        n_in_relation=found.n_rows - found.faulty.height - repeats.height,
        judged=found.name if found.name.startswith("received.") and n_part <= _FEW else "",
        cells=set_aside.cells(bad, table, about, repeats))


def mip_signs(store: Store, found: Scanned) -> pl.DataFrame:
    """Return `side` (-1 or 1), `n` and the first `lines` of the MIP values below and above 0."""
    return store.sql(
        f"select cast(sign(value) as bigint) as side, count(*) as n, list_sort(list({found.line}))[:6] as lines "
        f"from {found.name} where pressure = 'mip' and value <> 0 group by side order by side")
