"""Checks a folder as read: the identity gate, whole-file rules, the SQL verdict of each row, repeated rows."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

import polars as pl

from pipeline.contract import TABLES
from pipeline.contract.sql import sql_verdict
from pipeline.errors import FileRefused, IdentifierFound, RmtError
from pipeline.identity import shown_heading
from pipeline.ingest import Intake, RawTable
from pipeline.ingest.days import undeclared
from pipeline.ingest.raw import physical
from pipeline.settings import Settings
from pipeline.store import Store, open_store
from pipeline.validate import corrections, scanned, scanned_verdict, set_aside, whole_file
from pipeline.validate.repeats import ordinals, repeated_rows
from pipeline.validate.verdict import FileVerdict, Verdict


def _typed(store: Store, raw: RawTable) -> pl.DataFrame:
    """Run the SQL verdict over one file: typed columns, `line_` and `fault_bits`, in file order."""
    store.register("incoming", raw.rows)
    try:
        return store.sql(sql_verdict(TABLES[raw.table], raw.headings) + "\norder by line_")
    finally:
        store.unregister("incoming")


def judge_rows(store: Store, raw: RawTable) -> tuple[FileVerdict, pl.DataFrame]:
    """Return a file's verdict and its typed rows, faulty ones included."""
    table = TABLES[raw.table]
    typed = _typed(store, raw)
    good = typed.filter(pl.col("fault_bits") == 0)
    repeats = repeated_rows(table, good)
    records = set_aside.records(raw, table, typed, repeats)
    kept = ordinals(table, good.join(repeats, on="line_", how="anti", maintain_order="left"))
    unknown = tuple(shown_heading(h) for h in raw.headings if h not in table.column_names)
    beside = [raw.file_at(pl.col("line_")).alias("file")] if raw.sheets else []
    kept = kept.select(*table.column_names, "ordinal", physical(pl.col("line_")).alias("line"), *beside)
    cells = set_aside.cells(raw, table, typed, repeats)
    return FileVerdict(raw.file, raw.table, raw.sha256, raw.n_read, kept, records, unknown, cells=cells), typed


def _judge_scan(
    store: Store, raw: RawTable, settings: Settings, is_to_load: bool
) -> tuple[list[RmtError], FileVerdict, list[RmtError]]:
    """Return what a large file shows of identities, its verdict, and its faults as a whole file."""
    found = scanned.scan(store, raw, is_to_load=is_to_load)
    identities = whole_file.scanned_identities(raw, lambda place: scanned_verdict.values(store, found, place))
    verdict = scanned_verdict.judge(store, found)
    signs = scanned_verdict.mip_signs(store, found) if raw.table == "tests" else None
    orders = undeclared(TABLES[raw.table], raw.file, found.text)  # a day of two orders is well spelled in no row
    return identities, verdict, orders + whole_file.after_rows(verdict, signs, settings)


def _judge_frame(
    store: Store, raw: RawTable, settings: Settings, _: bool
) -> tuple[list[RmtError], FileVerdict, list[RmtError]]:
    """Return the same of a file that was read as a frame."""
    verdict, typed = judge_rows(store, raw)
    signs = whole_file.mip_signs(typed) if raw.table == "tests" else None
    orders = undeclared(TABLES[raw.table], raw.file, raw.rows)
    return whole_file.identities(raw), verdict, orders + whole_file.after_rows(verdict, signs, settings)


@contextmanager
def _judging(store: Store | None) -> Iterator[Store]:
    if store is not None:
        yield store
    else:
        with open_store(":memory:") as own:
            yield own


def check(intake: Intake, settings: Settings, store: Store | None = None) -> Verdict:
    """Judge every file of a folder; nothing is written but scratch tables.

    store: where large files are judged; their kept rows can be loaded into it as long as it is open (None: a store of
    its own, for the verdict alone). Raises IdentifierFound where a column looks like identifying data, FileRefused
    where a file cannot be trusted at all; either holds every such fault of every file.
    """
    identities: list[RmtError] = []
    faults, files = list(intake.faults), []
    with _judging(store) as judging:
        for whole in intake.files:
            raw, corrects = corrections.split(whole)
            judge = _judge_scan if raw.scan else _judge_frame
            found, verdict, after = judge(judging, raw, settings, store is not None)
            identities += found
            faults += whole_file.before_rows(raw, verdict.rows_read) or after
            files.append(replace(verdict, corrects=corrects))
    if identities:
        raise IdentifierFound([*identities, *faults])
    if faults:
        raise FileRefused(faults)
    return Verdict(tuple(files), intake.absent, intake.other_files, intake.map_text)
