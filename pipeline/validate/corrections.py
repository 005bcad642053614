"""Rows set aside, out for correction and back: each corrected row answers the record that it was exported from."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import polars as pl

from pipeline.contract import TABLES
from pipeline.ingest import RawTable
from pipeline.ingest.csv_file import records, whole
from pipeline.ingest.raw import PART, plain
from pipeline.store import Store

#: Columns of an exported row beside the contract's: which record it answers, and why the row was set aside.
ANSWERS = {"set_aside_batch": "batch_id", "set_aside_file": "file", "set_aside_line": "line"}
WHY = "set_aside_why"


def split(raw: RawTable) -> tuple[RawTable, pl.DataFrame | None]:
    """Return a file without its columns of correction, and the records that it answers (None: no such columns)."""
    if not set(ANSWERS) <= set(raw.headings):
        return raw, None
    raw = whole(raw)  # a large one too: there are no more corrections than rows set aside, which fit into memory
    numbers = pl.col("batch_id", "line").str.strip_chars().cast(pl.Int64, strict=False)
    answered = raw.rows.select(pl.col(c).alias(n) for c, n in ANSWERS.items()).with_columns(numbers)
    ours = [h for h in raw.headings if h in ANSWERS or h == WHY]
    rest = tuple(h for h in raw.headings if h not in ours)
    answered = answered.drop_nulls().unique().sort("batch_id", "line")
    return replace(raw, headings=rest, rows=raw.rows.drop(ours)), answered


def without(text: str, is_theirs: Callable[[str], bool]) -> tuple[str, int] | None:
    """Return the text of an exported file without the rows that are somebody's, and how many rows are left in it; None
    where the text is no such file. Every other row stays as it was written."""
    walk = list(records(text))
    headings = walk[0][1] if walk else None
    if not headings or not set(ANSWERS) <= {plain(h.removeprefix("\ufeff")) for h in headings}:
        return None
    lines = io.StringIO(text, newline="").readlines()
    ends = [line - 1 for line, _ in walk[1:]] + [len(lines)]
    rows = ["".join(lines[start:end]) for start, end in pairwise(ends)]
    kept = [row for row in rows if not is_theirs(row)]
    return "".join([*lines[:ends[0]], *kept]), len(kept)


def open_rows(store: Store) -> dict[str, pl.DataFrame]:
    """Return, table by table, the rows now set aside: sound cells as text, faulty ones empty, and ANSWERS and WHY."""
    found = store.sql(
        "select r.table_name, r.batch_id, r.file, r.line, any_value(r.cells) as cells, "
        "array_to_string(list_sort(list(distinct a.rule || ': expected ' || a.expected)), '; ') as why "
        "from received.set_aside_rows as r join received.set_aside as a on a.batch_id = r.batch_id "
        f"and a.file = r.file and a.line = r.line % {PART} and a.table_name = r.table_name where a.to_batch is null "
        "group by r.table_name, r.batch_id, r.file, r.line order by r.table_name, r.batch_id, r.file, r.line")
    tables = {}
    for (name,), rows in found.group_by("table_name", maintain_order=True):
        columns = TABLES[str(name)].column_names
        cells = [json.loads(text) for text in rows["cells"]]
        frame = pl.DataFrame([{c: row.get(c) for c in columns} for row in cells],
                             schema=dict.fromkeys(columns, pl.String))
        answers = (pl.col(n).cast(pl.String).alias(c) for c, n in ANSWERS.items())
        beside = rows.select(*answers, pl.col("why").alias(WHY))
        tables[str(name)] = pl.concat([frame, beside], how="horizontal")
    return tables


def close(store: Store, table: str, answered: pl.DataFrame, batch_id: int) -> None:
    """Close the records that a file of corrections answers, and those of rows that were in conflict with them.

    A line of which an intake map made several rows is closed when all of them are answered.
    """
    same = "r.batch_id = c.batch_id and r.file = c.file and r.line = c.line and r.table_name = $table"
    of_row = f"a.batch_id = r.batch_id and a.file = r.file and a.line = r.line % {PART} and a.table_name = r.table_name"
    with store.frame("answered", answered):
        store.execute(
            "create or replace temp table settled_rows as with hit as (select r.* from received.set_aside_rows as r "
            f"join answered as c on {same}), open_lines as (select r.batch_id, r.file, r.line % {PART} as line "
            f"from received.set_aside_rows as r anti join answered as c on {same} where r.table_name = $table) "
            "select h.*, false as is_sibling from hit as h anti join open_lines as o on o.batch_id = h.batch_id "
            f"and o.file = h.file and o.line = h.line % {PART} "
            "union all select r.*, true from received.set_aside_rows as r where r.table_name = $table "
            "and r.key_text in (select key_text from hit)", {"table": table})
    store.execute(
        f"update received.set_aside as a set to_batch = $batch from temp.settled_rows as r where a.to_batch is null "
        f"and {of_row} and (not r.is_sibling or a.rule in ($conflict, $repeated))",
        {"batch": batch_id, "conflict": f"{table}.row.conflict", "repeated": f"{table}.row.repeated"})
    store.execute("drop table temp.settled_rows")
