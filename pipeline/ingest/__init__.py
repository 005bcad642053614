"""Reads a folder of files, one a table, as text with line numbers. One file format a module; READERS names them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from pipeline.contract import TABLES
from pipeline.errors import FileRefused, RmtError
from pipeline.ingest.csv_file import read_csv
from pipeline.ingest.parquet_file import read_parquet
from pipeline.ingest.raw import Broken, Intake, RawTable, Unreadable

#: A file format is one module and one line here.
READERS: dict[str, Callable[[Path], RawTable]] = {".csv": read_csv, ".parquet": read_parquet}

__all__ = ["READERS", "Broken", "Intake", "RawTable", "Unreadable", "read_folder"]


def _named(folder: Path) -> tuple[list[Path], list[str]]:
    """Sort a folder's files into those named like a table and the names of the others."""
    ours, others = [], []
    for path in sorted(folder.iterdir()):
        if path.name.startswith(".") or not path.is_file():
            continue
        if path.stem in TABLES and path.suffix in READERS:
            ours.append(path)
        else:
            others.append(path.name)
    return ours, others


def _twice(paths: list[Path]) -> list[RmtError]:
    stems = [p.stem for p in paths]
    return [
        Unreadable("table.file.twice", f"{stem}.*", "two files hold this table", "one file a table",
                   "take one of them out of the folder")
        for stem in sorted({s for s in stems if stems.count(s) > 1})
    ]


def read_folder(folder: Path) -> Intake:
    """Read every file of `folder` that is named like a table of the contract (`tests.csv`, `sessions.parquet` ...).

    Faults of whole files are gathered in `Intake.faults`, for `validate.check` to raise with its own; FileRefused at
    once only where there is no such folder or it holds none of the tables.
    """
    if not folder.is_dir():
        raise FileRefused([Unreadable("folder.missing", folder.name, "there is no such folder",
                                      "a folder of input files", "check the path")])
    paths, others = _named(folder)
    if not paths:
        raise FileRefused([Unreadable("folder.no_tables", folder.name, "no input table was found in this folder",
                                      "files named like clients.csv, episodes.csv, tests.csv, sessions.csv",
                                      "check the path, or rename the files")])
    files, faults = [], _twice(paths)
    for path in paths:
        try:
            files.append(READERS[path.suffix](path))
        except Unreadable as fault:
            faults.append(fault)
    absent = tuple(t for t in TABLES if t not in {p.stem for p in paths})
    return Intake(tuple(files), absent, tuple(others), tuple(faults))
