"""The sums of a mixed model by an engine outside the store: two small tables come home, no row does."""

from __future__ import annotations

import shutil
from pathlib import Path

import polars as pl

from pipeline.engines import Engine
from pipeline.stats.sums import Sums
from pipeline.stats.sums_sql import Layout, per_pattern, sums_from, totals


def sums_by(engine: Engine, layout: Layout, folder: Path) -> Sums:
    """Let an engine sum over the table of a layout, which it can see; its answers stay in `folder`."""
    answers = []
    for name, text in (("patterns", per_pattern(layout)), ("totals", totals(layout))):
        out = folder / f"sums.{name}"
        shutil.rmtree(out, ignore_errors=True)
        out.mkdir(parents=True)
        engine.build(f"sums.{name}", text, out)
        answers.append(pl.read_parquet(out / "**" / "*.parquet", hive_partitioning=False))
    return sums_from(answers[0], answers[1], layout)
