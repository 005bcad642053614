"""The sums of a mixed model from an open DuckDB connection (the texts stand in pipeline/stats/sums_sql.py)."""

from __future__ import annotations

import duckdb

from pipeline.stats.sums import Sums
from pipeline.stats.sums_sql import Layout, per_pattern, sums_from, totals

__all__ = ["Layout", "sums_from_sql"]


def sums_from_sql(database: duckdb.DuckDBPyConnection, layout: Layout) -> Sums:
    """Run the two queries and arrange their rows."""
    return sums_from(database.sql(per_pattern(layout)).pl(), database.sql(totals(layout)).pl(), layout)
