"""The default: every table in the store itself, whole."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import duckdb

from pipeline.engines.engine import cannot_run


class InStore:
    """Runs SQL in an open store by its `execute`; folders hold nothing but what Python made."""

    def __init__(self, execute: Callable[[str], None]) -> None:
        self._execute = execute

    def table(self, name: str, folder: Path) -> None:
        """Copy Parquet files into the store."""
        files = str(folder / "*.parquet").replace("'", "''")
        self._execute(f"create or replace table {name} as select * from read_parquet('{files}')")

    def build(self, name: str, sql: str, out: Path) -> None:
        """Make a table of the store; nothing is written into `out`."""
        try:
            self._execute(f"create or replace table {name} as {sql}")
        except duckdb.Error as fault:
            raise cannot_run(name, fault) from fault
