"""Reads a folder of files, one a table, as text with line numbers. One file format a module; READERS names them."""

from __future__ import annotations

from pathlib import Path

from pipeline.contract import TABLES
from pipeline.errors import FileRefused, RmtError
from pipeline.ingest import excel
from pipeline.ingest.formats import READERS, read_workbook, stem_of, suffix_of
from pipeline.ingest.mapped import read_mapped
from pipeline.ingest.maps import IntakeMap, load_map
from pipeline.ingest.raw import Broken, Intake, RawTable, Unreadable

__all__ = ["READERS", "Broken", "Intake", "IntakeMap", "RawTable", "Unreadable", "load_map", "read_folder"]


def _files(folder: Path) -> list[Path]:
    if not folder.is_dir():
        raise FileRefused([Unreadable("folder.missing", folder.name, "there is no such folder",
                                      "a folder of input files", "check the path")])
    # a name that begins with ~$ is the lock of a workbook that is open somewhere
    return [p for p in sorted(folder.iterdir()) if p.is_file() and not p.name.startswith((".", "~$"))]


def _twice(read: list[tuple[str, str]]) -> list[RmtError]:
    """One fault for each table that several files (or sheets) hold. `read`: table, file."""
    tables = [table for table, _ in read]
    return [
        Unreadable("table.file.twice", f"{table}.*", "two files hold this table: "
                   + " and ".join(file for t, file in read if t == table), "one file a table",
                   "take one of them out of the folder")
        for table in sorted({t for t in tables if tables.count(t) > 1})
    ]


def _read(path: Path) -> list[RawTable] | None:
    """Read a file; None where it is none of ours by its name."""
    suffix, stem = suffix_of(path), stem_of(path)
    if suffix in excel.SUFFIXES:
        return read_workbook(path)
    return [READERS[suffix](path)] if suffix and stem in TABLES else None


def read_folder(folder: Path, intake_map: IntakeMap | None = None) -> Intake:
    """Read every file of `folder` that is named like a table of the contract (`tests.csv`, `sessions.parquet` ...),
    every sheet of a workbook that is, and before them the files that `intake_map` names.

    Faults of whole files are gathered in `Intake.faults`, for `validate.check` to raise with its own; FileRefused at
    once only where there is no such folder or it holds none of the tables.
    """
    paths = _files(folder)
    files, faults, used = read_mapped(paths, intake_map) if intake_map else ([], [], set())
    held = [(raw.table, raw.file) for raw in files]
    others = []
    for path in (p for p in paths if p.name not in used):
        try:
            found = _read(path)
        except Unreadable as fault:
            faults.append(fault)
            held.append((stem_of(path), path.name))
            continue
        if not found:
            others.append(path.name)
            continue
        files += found
        held += [(raw.table, raw.file) for raw in found]
    if not held and not faults:
        raise FileRefused([Unreadable("folder.no_tables", folder.name, "no input table was found in this folder",
                                      "files named like clients.csv, episodes.csv, tests.csv, sessions.csv, or a "
                                      "workbook whose sheets are", "check the path, rename the files, or draft a map: "
                                      "rmt-outcomes suggest-map FILE")])
    files.sort(key=lambda raw: raw.file)
    absent = tuple(t for t in TABLES if t not in {table for table, _ in held})
    return Intake(tuple(files), absent, tuple(others), (*_twice(held), *faults), intake_map.text if intake_map else "")
