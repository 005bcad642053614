"""An open store: SQL in, polars frames out. Every table is attached under one fixed alias."""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from pipeline.errors import StoreError
from pipeline.store.scratch import SPILL, Scratch

ALIAS = "rmt"
_TABLE_NAME = re.compile(r"[a-z_][a-z0-9_]*\.[a-z_][a-z0-9_]*")

#: No extension is ever fetched: the program never reaches for a network.
_CONFIG: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": "false", "autoload_known_extensions": "false",
}


def _spill(target: str) -> Path:
    """Name the folder for what does not fit into memory: beside the store, never where the user happens to stand."""
    if target == ":memory:":
        return Path(tempfile.gettempdir()) / f"rmt-outcomes-{os.getpid()}{SPILL}"
    return Path(target + SPILL)


def _quoted(path: Path) -> str:
    return "'" + str(path).replace("'", "''") + "'"


def _parquet(folder: Path) -> str:
    return f"read_parquet({_quoted(folder / '**' / '*.parquet')}, hive_partitioning = false)"


class Store:
    """One open DuckDB database. Made by `open_store`; `has_changed` says whether anything was written."""

    def __init__(self, target: str, *, read_only: bool = False) -> None:
        """Attach the file `target` (or ":memory:"); StoreError if it cannot be opened."""
        self.read_only = read_only
        self.has_changed = False
        self._target, self._spill = target, _spill(target)
        self._scratch: Scratch | None = None
        self._connection = duckdb.connect(":memory:", config={**_CONFIG, "temp_directory": str(self._spill)})
        mode = " (read_only)" if read_only else ""
        quoted = target.replace("'", "''")
        try:
            self._connection.execute(f"attach '{quoted}' as {ALIAS}{mode}")
            self._connection.execute(f"use {ALIAS}")
        except duckdb.Error as fault:
            self._connection.close()
            raise StoreError("the store cannot be opened", expected="a store made by this program",
                             now="check the path, or load the files into a new store") from fault

    def sql(self, text: str, params: Mapping[str, Any] | None = None) -> pl.DataFrame:
        """Return the rows of one SELECT; `params` fill its `$name` places."""
        found: pl.DataFrame = self._connection.sql(text, params=dict(params) if params else None).pl()
        return found

    def table(self, name: str) -> pl.DataFrame:
        """Return a whole table such as "frames.model", its rows in the order of all its columns."""
        if not _TABLE_NAME.fullmatch(name):
            raise StoreError(f"'{name}' is not the name of a table", expected="schema.table")
        return self.sql(f"select * from {name} order by all")

    def has_table(self, name: str) -> bool:
        """Say whether the store holds a table such as "frames.model"."""
        schema, _, table = name.partition(".")
        found = self.sql(
            "select count(*) as n from duckdb_tables() "
            f"where database_name = '{ALIAS}' and schema_name = $s and table_name = $t", {"s": schema, "t": table})
        return bool(found["n"][0])

    def register(self, name: str, frame: pl.DataFrame) -> None:
        """Let SQL see `frame` under a plain `name` until `unregister`."""
        self._connection.register(name, frame)

    def unregister(self, name: str) -> None:
        """Forget a registered frame."""
        self._connection.unregister(name)

    @contextmanager
    def frame(self, name: str, frame: pl.DataFrame) -> Iterator[None]:
        """Let SQL see `frame` under a plain `name` while the block runs."""
        self.register(name, frame)
        try:
            yield
        finally:
            self.unregister(name)

    def insert(self, table: str, frame: pl.DataFrame) -> None:
        """Add the rows of `frame` to a table, column by name; columns that the frame lacks stay empty."""
        names = ", ".join(frame.columns)
        with self.frame("rows_to_insert", frame):
            self.execute(f"insert into {table} ({names}) select {names} from rows_to_insert")

    def write_parquet(self, name: str, path: Path) -> None:
        """Write a whole table into one Parquet file, without holding it in memory."""
        self._connection.execute(f"copy {name} to {_quoted(path)} (format parquet)")

    def read_parquet(self, name: str, folder: Path) -> None:
        """Make a table of every Parquet file in a folder and in those below it."""
        self.execute(f"create or replace table {name} as select * from {_parquet(folder)}")

    def rows_of_parquet(self, folder: Path) -> int:
        """Count the rows of every Parquet file in a folder and in those below it."""
        return int(self.sql(f"select count(*) as n from {_parquet(folder)}").item())

    def execute(self, text: str, params: Mapping[str, Any] | None = None) -> None:
        """Run one statement that returns nothing."""
        self._connection.execute(text, dict(params) if params else None)
        self.has_changed = True

    @property
    def scratch(self) -> Scratch:
        """Return the scratch tables of this store (see Scratch); they go when the store is closed."""
        if self._scratch is None:
            self._scratch = Scratch(self._connection, self._target)
        return self._scratch

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All or nothing: commit at the end, roll back on any fault."""
        before = self.has_changed
        self._connection.begin()
        try:
            yield
        except BaseException:
            self._connection.rollback()
            self.has_changed = before
            raise
        self._connection.commit()

    def close(self) -> None:
        """Write everything into the one file and let go of it."""
        if self._scratch is not None:
            self._scratch.close()
        if not self.read_only and self.has_changed:
            self._connection.execute(f"checkpoint {ALIAS}")
        self._let_go()

    def abandon(self) -> None:
        """Let go of a file that will not be used, whatever state it is in."""
        self._let_go()
        if self._scratch is not None:
            self._scratch.remove_files()

    def _let_go(self) -> None:
        # a database that could not write says so again when it is closed
        with suppress(duckdb.Error):
            self._connection.close()
        shutil.rmtree(self._spill, ignore_errors=True)
