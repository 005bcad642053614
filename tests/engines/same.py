"""Compares tables made by two engines, row by row by their keys: doubles to 1e-9, everything else and types exactly."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import duckdb

#: Doubles agree to this, relative to their size (and absolutely below 1): sums may run in another order.
TOLERANCE = 1e-9


def _files(folder: Path) -> str:
    return f"read_parquet('{folder}/**/*.parquet', hive_partitioning = false)"


def _columns(database: duckdb.DuckDBPyConnection, relation: str) -> list[tuple[str, str]]:
    return [(str(r[0]), str(r[1])) for r in database.execute(f"describe select * from {relation}").fetchall()]


def _identical(database: duckdb.DuckDBPyConnection, one: str, other: str) -> bool:
    """Tell by three sums over hashes of whole rows whether two tables hold the same rows to the last bit."""
    marks = [database.execute(f"select count(*), bit_xor(hash(t)), sum(hash(t)::hugeint) from {r} as t").fetchall()
             for r in (one, other)]
    return marks[0] == marks[1]


def differences(database: duckdb.DuckDBPyConnection, one: str, other: str) -> str:
    """Say how two relations differ: columns, types, rows only in one, doubles further apart than TOLERANCE; '' if not.

    The key of a row is all of its columns that are no doubles; rows of one key stand in the order of their doubles.
    """
    columns = _columns(database, one)
    if columns != (others := _columns(database, other)):
        return f"columns or types differ: {sorted(set(columns) ^ set(others))}"
    if _identical(database, one, other):
        return ""
    keys = [f'"{c}"' for c, kind in columns if kind != "DOUBLE"]
    doubles = [f'"{c}"' for c, kind in columns if kind == "DOUBLE"]
    within, order = ", ".join(keys or ["1"]), ", ".join(doubles or ["1"])
    numbered = "select *, row_number() over (partition by {0} order by {1}) as place from {2}"
    on = " and ".join(f"a.{k} is not distinct from b.{k}" for k in [*keys, "place"])
    near = " or ".join(
        f"(a.{d} is null) <> (b.{d} is null) or abs(a.{d} - b.{d}) > {TOLERANCE} * greatest(1, abs(a.{d}))"
        for d in doubles) or "false"
    alone, apart = database.execute(
        f"with a as ({numbered.format(within, order, one)}), b as ({numbered.format(within, order, other)}) "
        f"select count(*) filter (where a.place is null or b.place is null), count(*) filter (where "
        f"a.place is not null and b.place is not null and ({near})) from a full join b on {on}").fetchall()[0]
    return f"{alone} rows stand in one of them only, {apart} have another double" if alone or apart else ""


def compare(one: Path, other: Path, tables: Iterable[str]) -> dict[str, str]:
    """Compare folders of tables as a desk leaves them; return what differs by table, empty where nothing does."""
    with duckdb.connect(":memory:") as database:
        found = {t: differences(database, _files(one / t), _files(other / t)) for t in sorted(tables)}
    return {table: said for table, said in found.items() if said}
