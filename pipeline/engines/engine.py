"""The two verbs of an engine; `derive` knows nothing else of it."""

from __future__ import annotations

from pathlib import Path
from typing import Protocol

from pipeline.errors import EngineError


class Engine(Protocol):
    """Runs the files of sql/. Tables have names such as "settled.tests"; SQL is written for DuckDB."""

    def table(self, name: str, folder: Path) -> None:
        """Let SQL see the Parquet files in `folder` under `name`."""

    def build(self, name: str, sql: str, out: Path) -> None:
        """Run one SELECT, keep its rows (as Parquet in the empty folder `out`, or at home), let SQL see them as `name`.

        EngineError names the file where it cannot be run, or says that the engine does not answer any more.
        """


def cannot_run(name: str, fault: Exception) -> EngineError:
    """Say which file cannot be run. The engine's own words may quote a value: they stay in the cause."""
    what = f"cannot be run ({type(fault).__name__})"
    if name.startswith("sums."):
        return EngineError(what, where="a question of --only-sums", now="leave out --only-sums, and report this")
    return EngineError(what, where=f"sql/{name.replace('.', '/')}.sql", now="mend this file")
