"""DuckDB in slices of clients on one machine: the same SQL slice by slice over Parquet, so that memory holds one slice.

Rows with a client's key are split once, by a hash of it. A table made of such tables is sliced too, unless its text
says `-- grand:`: that is made once, from the rows (in practice the sums) of every slice.
"""

from __future__ import annotations

import re
from pathlib import Path

import duckdb

from pipeline.engines.engine import cannot_run
from pipeline.errors import EngineError

#: Rows of the largest table that a slice is meant to hold: of generated rows 2,000,000 fit the limit, 3,000,000 do not.
ROWS_A_SLICE = 1_500_000
MEMORY_LIMIT = "1400MB"
_KEYS = ("client_key", "client_key_ok")


def by_size(rows: int) -> int:
    """Say how many slices a largest table of so many rows is split into."""
    return max(1, -(-rows // ROWS_A_SLICE))


def _quoted(path: Path) -> str:
    return "'" + str(path).replace("'", "''") + "'"


class Slices:
    """An engine over `count` slices; one in-memory catalogue of views for each slice, and `whole` for all rows."""

    def __init__(self, count: int, work: Path) -> None:
        """`work` is a folder for what does not fit into memory."""
        self.count = count
        self._sliced: set[str] = set()
        self._connection = duckdb.connect(":memory:", config={
            "autoinstall_known_extensions": "false", "autoload_known_extensions": "false",
            "memory_limit": MEMORY_LIMIT, "temp_directory": str(work), "preserve_insertion_order": "false"})
        for catalogue in ("whole", *self._slices()):
            self._connection.execute(f"attach ':memory:' as {catalogue}")

    def _slices(self) -> list[str]:
        return [f"slice_{number}" for number in range(self.count)]

    def table(self, name: str, folder: Path) -> None:
        """Let every slice see its part of a table, split here or before; a table without clients is seen whole."""
        if (folder / "slice_0").is_dir():
            self._show(name, folder)
            return
        read = f"read_parquet({_quoted(folder / '*.parquet')})"
        columns = {str(row[0]) for row in self._connection.execute(f"describe select * from {read}").fetchall()}
        if key := next((k for k in _KEYS if k in columns), ""):
            self._split(read, key, folder)
        self._show(name, folder)

    def _split(self, read: str, key: str, folder: Path) -> None:
        """Write each slice into a folder of its own beside the files that are read, and remove these."""
        rows = f"select *, 'slice_' || hash({key}) % {self.count} as slice from {read}"
        self._connection.execute(
            f"copy ({rows}) to {_quoted(folder / 'split')} (format parquet, partition_by (slice))")
        for slice_ in self._slices():
            place = folder / "split" / f"slice={slice_}"
            if not place.is_dir():
                place.mkdir(parents=True)
                empty = _quoted(place / "empty.parquet")
                self._connection.execute(f"copy (select * from {read} limit 0) to {empty} (format parquet)")
            place.rename(folder / slice_)
        (folder / "split").rmdir()
        for whole in folder.glob("*.parquet"):
            whole.unlink()

    def _show(self, name: str, folder: Path) -> None:
        """Make the views of a table."""
        schema = name.split(".")[0]
        is_sliced = (folder / "slice_0").is_dir()
        if is_sliced:
            self._sliced.add(name)
        for catalogue in ("whole", *self._slices()):
            files = folder / (("*" if catalogue == "whole" else catalogue) if is_sliced else "") / "*.parquet"
            self._connection.execute(f"create schema if not exists {catalogue}.{schema}")
            self._connection.execute(f"create or replace view {catalogue}.{name} as select * from "
                                     f"read_parquet({_quoted(files)}, hive_partitioning = false)")

    def build(self, name: str, sql: str, out: Path) -> None:
        """Run one SELECT in every slice, or once where it reads no client's rows or is a grand table."""
        text = re.sub(r"^\s*--[^\n]*", "", sql, flags=re.MULTILINE)
        reads_clients = self._sliced & set(re.findall(r"\b[a-z_0-9]+\.[a-z_0-9]+\b", text))
        try:
            if reads_clients and not re.search(r"^-- grand:", sql, flags=re.MULTILINE):
                for slice_ in self._slices():
                    self._write(slice_, text, out / slice_)
            else:
                self._write("whole", text, out)
            self._show(name, out)
        except duckdb.OutOfMemoryException as fault:
            raise EngineError(f"does not fit into {MEMORY_LIMIT} of memory and the disk", where=name,
                              now=f"use more than {self.count} slices, or free some room") from fault
        except duckdb.Error as fault:
            raise cannot_run(name, fault) from fault

    def _write(self, catalogue: str, text: str, folder: Path) -> None:
        folder.mkdir(exist_ok=True)
        self._connection.execute(f"use {catalogue}")
        self._connection.execute(f"copy ({text}) to {_quoted(folder / 'rows.parquet')} (format parquet)")

    def close(self) -> None:
        """Let go of everything."""
        self._connection.close()
