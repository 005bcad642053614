"""Shapes the records of a source into rows of one table: filled down, picked, wide to long, ticks counted."""

from __future__ import annotations

import polars as pl

from pipeline.contract import TABLES
from pipeline.ingest.maps import Block, Part, Source
from pipeline.ingest.maps_cells import changed, changes_of
from pipeline.ingest.raw import LINE, PART, plain

#: Stands before a cell that is neither empty nor a declared tick, so that it can never be read as a count.
NOT_A_TICK = "not a tick: "


def filled_down(rows: pl.DataFrame, names: tuple[str, ...]) -> pl.DataFrame:
    """Repeat the last filled cell of each named column downwards: what a merged cell means."""
    return rows.with_columns(pl.col(names).forward_fill()) if names else rows


def _picked(rows: pl.DataFrame, block: Block) -> pl.DataFrame:
    """Return the records that the block's `where` lets in."""
    for heading, words in block.where.items():
        alike = [w for w in rows[heading].unique().drop_nulls().to_list() if plain(w).casefold() in words]
        rows = rows.filter(pl.col(heading).is_in(alike))
    return rows


def _counted(rows: pl.DataFrame, block: Block) -> dict[str, pl.Series]:
    """Count the ticks of each counting column; a record with another sign in its cells gives that sign, marked."""
    found = {}
    for name, groups in block.ticks.counts.items() if block.ticks else ():
        marks = block.ticks.marks if block.ticks else ()
        texts = []
        for cells in rows.select(*{h for g in groups for h in g}).iter_rows(named=True):
            odd = next((c for c in cells.values() if c is not None and plain(c).casefold() not in marks), None)
            n = sum(any(cells[h] is not None for h in group) for group in groups)
            is_told = n or (block.ticks and block.ticks.blank_is_zero)
            texts.append(NOT_A_TICK + odd if odd else str(n) if is_told else None)
        found[name] = pl.Series(name, texts, dtype=pl.String)
    return found


def _part_rows(rows: pl.DataFrame, block: Block, part: Part, counts: dict[str, pl.Series]) -> pl.DataFrame:
    """Return the rows that one part makes of the picked records: contract columns as they stood, and `line_`."""
    columns = {**block.shared.columns, **part.columns}
    constants = {**block.shared.constants, **part.constants}
    texts = [rows[heading].alias(name) for name, heading in columns.items()]
    texts += [pl.Series(name, [text], dtype=pl.String).new_from_index(0, rows.height)
              for name, text in constants.items() if name not in columns]
    made = pl.DataFrame([*texts, *counts.values(), rows[LINE]])
    own = list(part.columns) or [*columns, *counts]
    return made.filter(pl.any_horizontal(pl.col(own).is_not_null())) if own else made


def rows_of(rows: pl.DataFrame, block: Block, source: Source, extra: list[str], *, is_workbook: bool,
            counts_from_1904: bool) -> pl.DataFrame:
    """Return the rows of one table as text with `line_` (see raw.PART), and the `extra` headings that no table reads.

    rows: the records of the source, trimmed and filled down. Cells are written as the contract spells them, where the
    map declares how; every other cell stays as it stood, for the contract to judge.
    """
    picked = _picked(rows, block)
    counts = _counted(picked, block)
    beside = picked.select(LINE, *extra)
    parts = []
    for number, part in enumerate(block.parts):
        made = _part_rows(picked, block, part, counts).join(beside, on=LINE, how="left", maintain_order="left")
        parts.append(made.with_columns(pl.col(LINE) + number * PART))
    whole = pl.concat(parts, how="diagonal").sort(pl.col(LINE) % PART, LINE)
    for column in TABLES[block.table].columns:
        if column.name in whole.columns:
            steps = changes_of(column, block, source, is_workbook=is_workbook, counts_from_1904=counts_from_1904)
            whole = whole.with_columns(changed(whole[column.name], steps))
    if block.once:
        names = [c.name for c in TABLES[block.table].columns if c.name in whole.columns]
        whole = whole.unique(names, keep="first", maintain_order=True)
    return whole
