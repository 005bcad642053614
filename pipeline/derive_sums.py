"""Questions of sums to an engine outside the store, about the tables that it holds: small answers come home."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import polars as pl

from pipeline.engines import Engine, rows_of
from pipeline.stats.sums import Sums
from pipeline.stats.sums_sql import Layout, per_pattern, sums_from, totals


class AtEngine:
    """An engine that answers in sums (analyse.sums_rows.Summing). What it makes and answers stands below `folder`.

    told: called with the number of each question before it is asked.
    """

    def __init__(self, engine: Engine, folder: Path, told: Callable[[int], None] | None = None) -> None:
        self._engine, self._folder, self._told, self._asked = engine, folder, told, 0

    def make(self, name: str, sql: str) -> None:
        """Make a table from one SELECT; it stays with the engine."""
        self._engine.build(name, sql, self._place(name))

    def ask(self, sql: str) -> pl.DataFrame:
        """Answer one SELECT; rows of slices stand one after the other, in no order."""
        self._asked += 1
        if self._told is not None:
            self._told(self._asked)
        name = f"sums.answer_{self._asked}"
        place = self._place(name)
        self._engine.build(name, sql, place)
        answer = rows_of(place).collect()
        shutil.rmtree(place, ignore_errors=True)  # a server's files may be another user's
        return answer

    def _place(self, name: str) -> Path:
        place = self._folder / name
        shutil.rmtree(place, ignore_errors=True)
        place.mkdir(parents=True)
        return place


def sums_by(at: AtEngine, layout: Layout) -> Sums:
    """Let an engine sum over the table of a layout, which it can see."""
    return sums_from(at.ask(per_pattern(layout)), at.ask(totals(layout)), layout)
