"""Checks a folder as read: the identity gate, whole-file rules, the SQL verdict of each row, repeated rows."""

from __future__ import annotations

import polars as pl

from pipeline.contract import TABLES
from pipeline.contract.sql import sql_verdict
from pipeline.errors import FileRefused, IdentifierFound, RmtError
from pipeline.identity import shown_heading
from pipeline.ingest import Intake, RawTable
from pipeline.settings import Settings
from pipeline.store import Store, open_store
from pipeline.validate import set_aside, whole_file
from pipeline.validate.repeats import ordinals, repeated_rows
from pipeline.validate.verdict import FileVerdict, Verdict


def _typed(store: Store, raw: RawTable) -> pl.DataFrame:
    """Run the SQL verdict over one file: typed columns, `line_` and `fault_bits`, in file order."""
    store.register("incoming", raw.rows)
    try:
        return store.sql(sql_verdict(TABLES[raw.table], raw.headings) + "\norder by line_")
    finally:
        store.unregister("incoming")


def _judge(store: Store, raw: RawTable) -> tuple[FileVerdict, pl.DataFrame]:
    """Return a file's verdict and its typed rows, faulty ones included."""
    table = TABLES[raw.table]
    typed = _typed(store, raw)
    good = typed.filter(pl.col("fault_bits") == 0)
    repeats = repeated_rows(table, good)
    records = set_aside.records(raw, table, typed, repeats)
    kept = ordinals(table, good.join(repeats, on="line_", how="anti", maintain_order="left"))
    unknown = tuple(shown_heading(h) for h in raw.headings if h not in table.column_names)
    kept = kept.select(*table.column_names, "ordinal", pl.col("line_").alias("line"))
    return FileVerdict(raw.file, raw.table, raw.sha256, raw.n_read, kept, records, unknown), typed


def check(intake: Intake, settings: Settings) -> Verdict:
    """Judge every file of a folder; nothing is written anywhere.

    Raises IdentifierFound where a column looks like identifying data, FileRefused where a file cannot be trusted at
    all; either holds every such fault of every file.
    """
    identities = [fault for raw in intake.files for fault in whole_file.identities(raw)]
    faults: list[RmtError] = list(intake.faults)
    files = []
    with open_store(":memory:") as store:
        for raw in intake.files:
            found = whole_file.before_rows(raw)
            if not found:
                verdict, typed = _judge(store, raw)
                found = whole_file.after_rows(verdict, typed, settings)
                files.append(verdict)
            faults += found
    if identities:
        raise IdentifierFound([*identities, *faults])
    if faults:
        raise FileRefused(faults)
    return Verdict(tuple(files), intake.absent, intake.other_files)
