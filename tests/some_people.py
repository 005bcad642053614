"""A part of the sample cohort, for tests that need whole reviews and not all its people."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import polars as pl

SAMPLE = Path(__file__).parents[1] / "sample_data"


def tables_of(some: Sequence[str]) -> dict[str, pl.DataFrame]:
    """The sample's tables as text with the rows of these clients; a table without clients is whole."""
    tables = {p.stem: pl.read_csv(p, infer_schema=False) for p in sorted(SAMPLE.glob("*.csv"))}
    mine = pl.col("client_key").is_in(list(some))
    return {n: rows.filter(mine) if "client_key" in rows.columns else rows for n, rows in tables.items()}


def keys() -> list[str]:
    """The sample's client keys, in order."""
    return sorted(set(pl.read_csv(SAMPLE / "clients.csv", infer_schema=False)["client_key"].drop_nulls()))


def every(n: int) -> dict[str, pl.DataFrame]:
    """The sample's tables with every n-th client, in the order of the keys."""
    return tables_of(keys()[::n])


def write(tables: dict[str, pl.DataFrame], folder: Path) -> Path:
    """Write tables as CSV."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in tables.items():
        rows.write_csv(folder / f"{name}.csv")
    return folder
