"""One million clients in DuckDB: makes the tests table (not timed), forms the sums, fits: `python -m bench.million`."""

# ruff: noqa: T201 - its standard output is read by bench.mixed
from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import duckdb

from bench.sql_sums import Layout, sums_from_sql

# Uniform and normal numbers from hash(), so that the table is the same on every run and needs no seed.
CLIENTS_SQL = """
create table clients as
with drawn as (
  select i as client_key, [hash(i, k) / 18446744073709551616e0 for k in range(12)] as u from range($clients) as r(i))
select client_key, cast(floor(5e0 + 4e0 * u[1]) as integer) as tests, cast(floor(3e0 * u[2]) as integer) as protocol,
  u[3] as adherence, sqrt(-2e0 * ln(u[4] + 1e-300)) * cos(6.283185307179586e0 * u[5]) as baseline,
  12e0 * sqrt(-2e0 * ln(u[6] + 1e-300)) * cos(6.283185307179586e0 * u[7]) as own_level,
  6e0 * sqrt(-2e0 * ln(u[8] + 1e-300)) * cos(6.283185307179586e0 * u[9]) as own_slope
from drawn
"""
TESTS_SQL = """
create table tests as
with visits as (
  select c.*, v, hash(client_key, v, 1) as h,
    row_number() over (partition by client_key order by hash(client_key, v, 2)) as place
  from clients as c cross join range(8) as visit(v)),
dated as (
  select *, greatest([0, 2, 4, 8, 12, 16, 20, 24][v + 1] + cast(h % 3 as integer) - 1, 0) as weeks,
    [hash(client_key, v, k) / 18446744073709551616e0 for k in range(3, 8)] as u
  from visits where place <= tests)
select client_key, weeks, cast(protocol = 1 as integer) as p1, cast(protocol = 2 as integer) as p2, adherence, baseline,
  u[1] - 5e-1 as adherence_within, u[2] as effort,
  7e1 + 5e0 * baseline + own_level + (8e0 + 2e0 * cast(protocol = 2 as integer) + own_slope) * weeks / 12e0
  + 2e0 * u[2] + 6e0 * sqrt(-2e0 * ln(u[3] + 1e-300)) * cos(6.283185307179586e0 * u[4]) as mip_cmh2o
from dated
"""
WEEK_CENTRE, MIP_CENTRE = 10, 78
TIME = f"(cast(weeks as double) - {WEEK_CENTRE}) / 12e0"
NAMES = ("1", "time12", "p1", "p2", "adherence", "adherence_within", "effort", "baseline", "time12:p1", "time12:p2")
COLUMNS = (
    *("1e0", TIME, "p1", "p2", "adherence - 5e-1", "adherence_within", "effort - 5e-1", "baseline"),
    *(f"{TIME} * p1", f"{TIME} * p2"),
    f"mip_cmh2o - {MIP_CENTRE}",
)
LAYOUT = Layout("tests", COLUMNS, WEEK_CENTRE)


def make(path: Path, clients: int) -> None:
    """Write the tests table of `clients` clients into a DuckDB file."""
    with duckdb.connect(str(path)) as database:
        database.execute(CLIENTS_SQL, {"clients": clients})
        database.execute(TESTS_SQL)


def main(path: str) -> None:
    """Sums and fit of a file made by make(); one line of JSON with the seconds of each."""
    with duckdb.connect(path, read_only=True, config={"threads": 2, "memory_limit": "1200MB"}) as database:
        tests = database.sql("select count(*) from tests").fetchall()[0][0]
        start = time.perf_counter()
        sums = sums_from_sql(database, LAYOUT)
        summed = time.perf_counter()
    print(json.dumps({"tests": tests, "patterns": len(sums.rows), "sql_seconds": summed - start}))


if __name__ == "__main__":
    main(*sys.argv[1:])
