"""The sums of a mixed model as SQL: GROUP BY client, then GROUP BY equal time pattern. Rows never leave the database.

Portable text (sum, count, group by, order by). A client's pattern is (tests, sum of weeks, sum of weeks^2), integers.
Columns come centred: weeks on a whole week, the outcome on a whole unit, so that squares keep their digits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import duckdb
import numpy as np

from pipeline.stats.sums import Sums

Pair = tuple[int, int]


@dataclass(frozen=True)
class Layout:
    """table: rows with client_key and integer weeks. columns: SQL of [outer columns, X, y], in that order.

    time: SQL of the second random column, (weeks - week_centre) / 12. outer: SQL name of the outer grouping or None.
    """

    table: str
    columns: Sequence[str]
    week_centre: int
    outer: str | None = None
    outer_columns: int = 0

    @property
    def time(self) -> str:
        """Time in 12-week units from the centre."""
        return f"(cast(weeks as double) - {self.week_centre}) / 12e0"

    @property
    def pairs(self) -> list[Pair]:
        """Upper triangle of the columns."""
        return [(j, k) for j in range(len(self.columns)) for k in range(j, len(self.columns))]

    @property
    def outer_key(self) -> str:
        """What rows are grouped by at the outer level; one group when there is none."""
        return self.outer or "0"


def per_client(layout: Layout) -> str:
    """One row per client: tests, sums of weeks, and of each column (a) and of time times each column (b)."""
    sums = [
        f"sum({c}) as a{j}, sum({layout.time} * ({c})) as b{j}" for j, c in enumerate(f"({c})" for c in layout.columns)
    ]
    return (
        f"select {layout.outer_key} as outer_key, client_key, count(*) as tests, cast(sum(weeks) as bigint) as w1, "
        f"cast(sum(weeks * weeks) as bigint) as w2, {', '.join(sums)} from {layout.table} group by 1, 2"
    )


def per_pattern(layout: Layout) -> str:
    """One row per outer group and time pattern: clients, and sums over clients of the products of a and b."""
    products = []
    for j, k in layout.pairs:
        products.append(f"sum(a{j} * a{k}) as aa_{j}_{k}, sum(b{j} * b{k}) as bb_{j}_{k}")
        products.append(f"sum(a{j} * b{k} + a{k} * b{j}) / 2e0 as ab_{j}_{k}")
    return (
        f"with clients as ({per_client(layout)}) select outer_key, tests, w1, w2, count(*) as clients, "
        f"{', '.join(products)} from clients group by 1, 2, 3, 4 order by 1, 2, 3, 4"
    )


def totals(layout: Layout) -> str:
    """One row per outer group: sums over rows of the products of the columns."""
    sums = [f"sum(({layout.columns[j]}) * ({layout.columns[k]})) as t_{j}_{k}" for j, k in layout.pairs]
    return f"select {layout.outer_key} as outer_key, {', '.join(sums)} from {layout.table} group by 1 order by 1"


def _filled(values: dict[str, np.ndarray], name: str, layout: Layout) -> np.ndarray:
    """Symmetric (m, k, k) from the columns name_j_k."""
    size = len(layout.columns)
    full = np.empty((len(next(iter(values.values()))), size, size))
    for j, k in layout.pairs:
        full[:, j, k] = full[:, k, j] = values[f"{name}_{j}_{k}"]
    return full


def sums_from_sql(database: duckdb.DuckDBPyConnection, layout: Layout) -> Sums:
    """Run the two queries and arrange their rows as the engine's sums; random columns 1 and time."""
    found = database.sql(per_pattern(layout)).fetchnumpy()
    whole = database.sql(totals(layout)).fetchnumpy()
    tests, w1, w2 = (np.asarray(found[name], dtype=float) for name in ("tests", "w1", "w2"))
    clients, centre = np.asarray(found["clients"], dtype=float), layout.week_centre
    zz = np.empty((len(tests), 2, 2))
    zz[:, 0, 0] = tests
    zz[:, 0, 1] = zz[:, 1, 0] = (w1 - centre * tests) / 12.0
    zz[:, 1, 1] = (w2 - 2.0 * centre * w1 + centre**2 * tests) / 144.0
    aa, ab, bb = (_filled(found, name, layout) for name in ("aa", "ab", "bb"))
    pairs = np.stack([np.stack([aa, ab], axis=1), np.stack([ab, bb], axis=1)], axis=1)
    return Sums(
        rows=tests,
        zz=zz,
        zw=None,
        total=_filled(whole, "t", layout),
        starts=np.searchsorted(np.asarray(found["outer_key"]), np.asarray(whole["outer_key"])),
        weight=clients,
        outer_weight=np.ones(len(whole["outer_key"])),
        outer_columns=layout.outer_columns,
        pairs=pairs / clients[:, None, None, None, None],
    )
