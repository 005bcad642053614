"""The same folder judged twice: walked record by record, and read by the database."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from pipeline.ingest.csv_file import read_csv
from pipeline.store import open_store
from pipeline.validate import FileVerdict, checking, scanned, scanned_verdict, whole_file

Told = tuple[int, pl.DataFrame, pl.DataFrame, tuple[str, ...]]


def told(store_rows: pl.DataFrame, file: FileVerdict) -> Told:
    return file.rows_read, store_rows.sort("line"), file.set_aside, file.unknown_columns


def walked(path: Path) -> Told:
    raw = read_csv(path, scan_from_bytes=1 << 60)
    with open_store(":memory:") as store:
        file, _ = checking.judge_rows(store, raw)
    return told(file.kept, file)


def by_database(path: Path, *, buffer_bytes: int = 8_000_000) -> tuple[Told, str]:
    """Return what the database's reading says, and the SQL of a line (which shows whether the file was walked)."""
    raw = read_csv(path, scan_from_bytes=0)
    with open_store(":memory:") as store:
        found = scanned.scan(store, raw, buffer_bytes=buffer_bytes)
        file = scanned_verdict.judge(store, found)
        kept = store.sql(f"select * from {file.relation} order by line")
    return told(kept, file), found.line


def identities(path: Path) -> tuple[list[str], list[str]]:
    """Return what the identity gate says of a file, walked and by the database."""
    raw = read_csv(path, scan_from_bytes=1 << 60)
    with open_store(":memory:") as store:
        found = scanned.scan(store, read_csv(path, scan_from_bytes=0))
        said = whole_file.scanned_identities(found.raw, lambda k: scanned_verdict.values(store, found, k))
    return [f.text for f in whole_file.identities(raw)], [f.text for f in said]


def same(raw: Told, other: Told) -> bool:
    return raw[0] == other[0] and raw[1].equals(other[1]) and raw[2].equals(other[2]) and raw[3] == other[3]
