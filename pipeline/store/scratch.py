"""Tables beside a store that live as long as one load or check: on disk, because a large file fits no memory."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import duckdb
import polars as pl

#: Names of the files beside a store that hold nothing once it is closed.
SCRATCH, SPILL = ".scan", ".spill"

#: Tried on 10 million rows: more is no faster, much less writes to disk more often.
MEMORY_LIMIT = "600MB"

_OPTIONS = (
    "header=true, auto_detect=false, quote='\"', escape='\"', strict_mode=true, store_rejects=true, "
    "buffer_size={buffer}, max_line_size={line}"
)


@dataclass(frozen=True)
class CsvSource:
    """A CSV file to be read as text: the names its columns shall have, and the reader's buffers in bytes."""

    path: Path
    columns: Sequence[str]
    delimiter: str = ","
    buffer_bytes: int = 8_000_000

    @property
    def relation(self) -> str:
        """Write the table function that reads it; `new_line` is not given, since DuckDB 2.0.1 then finds no row in
        files of CRLF."""
        columns = ", ".join(f"{_text(c)}: 'varchar'" for c in self.columns)
        options = _OPTIONS.format(buffer=self.buffer_bytes, line=min(self.buffer_bytes, 1_000_000))
        return f"read_csv({_text(str(self.path))}, columns={{{columns}}}, delim={_text(self.delimiter)}, {options})"


def _text(value: str) -> str:
    return "'" + value.replace("'", "''") + "'"


class Scratch:
    """A database of its own, attached as `scratch` to an open store; rows in it keep the order they came in."""

    def __init__(self, connection: duckdb.DuckDBPyConnection, target: str) -> None:
        """Attach it beside the file `target`, or in a folder of its own for ":memory:"."""
        self._connection = connection
        self._folder = Path(tempfile.mkdtemp(prefix="rmt-outcomes-")) if target == ":memory:" else None
        base = self._folder / "store" if self._folder else Path(target)
        self._path = base.with_name(base.name + SCRATCH)
        clear_scratch(base)
        for setting in (f"memory_limit = '{MEMORY_LIMIT}'", "preserve_insertion_order = true",
                        # makes lists of codes into joins, behind which rows come in another order (DuckDB 2.0.1)
                        "disabled_optimizers = 'in_clause'"):
            connection.execute(f"set {setting}")
        connection.execute(f"attach {_text(str(self._path))} as scratch")
        self._base = base

    def execute(self, text: str) -> None:
        """Run one statement that changes nothing but scratch tables."""
        self._connection.execute(text)

    def create_from_csv(self, table: str, source: CsvSource, select: Callable[[str], str]) -> int | None:
        """Make a table (`scratch.sessions`) from a CSV file by the SELECT that `select` writes over its text.

        Returns how many records the reader rejected; None where it could not read the file at all. What it says about
        a fault holds values and is thrown away unread.
        """
        try:
            self.execute(f"create or replace table {table} as {select(source.relation)}")
            found = self._connection.execute("select count(*) from reject_errors").fetchall()
            return int(found[0][0])
        except (duckdb.InvalidInputException, duckdb.ConversionException, duckdb.ParserException):
            return None
        finally:
            self._drop_rejects()

    def count_values(self, source: CsvSource, column: str) -> pl.DataFrame:
        """Return the different values of a column of a CSV file that can be read, as `value` and `n`; none is kept."""
        try:
            found: pl.DataFrame = self._connection.sql(
                f"select {column} as value, count(*) as n from {source.relation} "
                f"where {column} is not null group by {column}").pl()
            return found
        finally:
            self._drop_rejects()

    def _drop_rejects(self) -> None:
        for table in ("reject_errors", "reject_scans"):
            self._connection.execute(f"drop table if exists temp.{table}")

    def close(self) -> None:
        """Let go of it and remove its files."""
        self._connection.execute("detach scratch")
        self.remove_files()

    def remove_files(self) -> None:
        clear_scratch(self._base)
        if self._folder:
            shutil.rmtree(self._folder, ignore_errors=True)


def clear_scratch(base: Path) -> None:
    """Remove what a load that was killed may have left beside the store file `base`."""
    for ending in (SCRATCH, SCRATCH + ".wal"):
        base.with_name(base.name + ending).unlink(missing_ok=True)
    shutil.rmtree(base.with_name(base.name + SPILL), ignore_errors=True)
