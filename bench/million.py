"""A million clients in DuckDB: tests table (not timed), sums by SQL, fit: `python -m bench.million FILE`."""

# ruff: noqa: T201 - its standard output is read by bench.mixed
from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import duckdb
import polars as pl

from bench.cohort import cohort
from bench.sql_sums import Layout, sums_from_sql
from pipeline.stats.elsewhere import fit_from_sums
from pipeline.stats.model import MixedModel, Varies

BLOCK = 100_000
WEEK_CENTRE, MIP_CENTRE = 10, 75
TIME = f"(cast(weeks as double) - {WEEK_CENTRE}) / 12e0"
INTERVAL, STRENGTH = (f"cast(protocol = '{name}' as double)" for name in ("interval", "strength"))
NAMES = ("1", "time12", "interval", "strength", "adherence", "within", "effort", "baseline", "time12:interval",
         "time12:strength")  # fmt: skip
COLUMNS = (
    *("1e0", TIME, INTERVAL, STRENGTH, "adherence - 66e-2", "adherence_within", "effort - 5e-1", "baseline"),
    *(f"{TIME} * {INTERVAL}", f"{TIME} * {STRENGTH}"),
    f"mip_cmh2o - {MIP_CENTRE}",
)
LAYOUT = Layout("tests", COLUMNS, WEEK_CENTRE)
MODEL = MixedModel("mip_cmh2o", " + ".join(NAMES), (Varies("client_key", "1 + time12"),))


def make(path: Path, clients: int) -> None:
    """Write a tests table of `clients` clients, simulated in blocks of one site each, into a new DuckDB file."""
    with duckdb.connect(str(path)) as database:
        for block in range(max(clients // BLOCK, 1)):
            rows = cohort(min(clients, BLOCK), seed=block, site_sd=0.0).drop("site", "time12", "age_decades")
            rows = rows.with_columns(pl.col("client_key") + block * BLOCK)
            database.register("block_rows", rows.to_arrow())
            database.execute("create table if not exists tests as select * from block_rows limit 0")
            database.execute("insert into tests select * from block_rows")


def main(path: str) -> None:
    """Sums and fit of a file made by make(); one line of JSON with the seconds of each."""
    with duckdb.connect(path, read_only=True, config={"threads": 2, "memory_limit": "1200MB"}) as database:
        tests = database.sql("select count(*) from tests").fetchall()[0][0]
        start, start_cpu = time.perf_counter(), time.process_time()
        sums = sums_from_sql(database, LAYOUT)
        summed = time.perf_counter()
    fit = fit_from_sums(sums, MODEL, NAMES)
    done, cpu = time.perf_counter(), time.process_time() - start_cpu
    slope = fit.mean_terms.row(1, named=True)
    found = {"log_likelihood": fit.log_likelihood, "slope": slope["estimate"], "slope_df": slope["df"]}
    clocks = {
        "seconds": [done - start],
        "cpu_seconds": [cpu],
        "sql_seconds": summed - start,
        "fit_seconds": done - summed,
    }
    print(json.dumps({**clocks, **found, "tests": tests, "patterns": len(sums.rows)}))


if __name__ == "__main__":
    main(*sys.argv[1:])
