"""The folder of a build outside the store: one folder of Parquet files a table, and which of them are finished.

A build that was broken off goes on from its finished tables, as long as they were made from the same.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import polars as pl

_MADE_FROM, _FINISHED = "_made_from", "_finished"


def rows_of(folder: Path) -> pl.LazyFrame:
    """The rows that an engine left below a folder, of slices one after the other."""
    return pl.scan_parquet(folder / "**" / "*.parquet", hive_partitioning=False)


class Passing:
    """The desk of a build inside the store: nothing is kept, and only what Python made passes through `folder`."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def place(self, name: str) -> Path:
        """Return the folder of a table, which need not be there."""
        return self.folder / name

    begin = place

    def is_finished(self, name: str) -> bool:
        """Say no: the store's transaction is all or nothing."""
        return False

    def finish(self, name: str) -> None:
        """Mark nothing."""


class Desk:
    """Folders of tables below `folder`. `made_from` names everything that the tables depend on; another one, and the
    tables that are there are thrown away."""

    def __init__(self, folder: Path, made_from: str) -> None:
        self.folder = folder
        stamp = folder / _MADE_FROM
        if not stamp.is_file() or stamp.read_text(encoding="ascii") != made_from:
            self.clear()
            folder.mkdir(parents=True)
            stamp.write_text(made_from, encoding="ascii")
        self.went_on_from = len(list(folder.glob(f"*/{_FINISHED}")))

    def place(self, name: str) -> Path:
        """Return the folder of a table."""
        return self.folder / name

    def is_finished(self, name: str) -> bool:
        """Say whether a table is there whole."""
        return (self.place(name) / _FINISHED).is_file()

    def begin(self, name: str) -> Path:
        """Return the folder of a table, emptied of what a broken run left there."""
        shutil.rmtree(self.place(name), ignore_errors=True)
        self.place(name).mkdir()
        return self.place(name)

    def finish(self, name: str) -> None:
        """Mark a table as whole: the last thing that is written of it."""
        (self.place(name) / _FINISHED).touch()

    def clear(self) -> None:
        """Remove every table."""
        shutil.rmtree(self.folder, ignore_errors=True)
