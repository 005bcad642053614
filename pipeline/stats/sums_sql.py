"""The sums of a mixed model as SQL: GROUP BY client, and where many have one, GROUP BY time pattern. No row comes home.

Portable text (sum, count, group by). A client's pattern is (tests, sum of time, sum of time^2) in whole units: in weeks
there are few of them and `per_pattern` answers with less, in days there are as many as clients (`per_client`).
Columns come centred: time on a whole unit, the outcome on a whole unit, so that squares keep their digits. Source of
the form: see sums.py and elsewhere.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.stats.sums import Sums

Pair = tuple[int, int]


@dataclass(frozen=True)
class Layout:
    """table: rows with client_key. columns: SQL of [outer columns, X, y], in that order, over the table's columns.

    weeks: SQL of whole units of time. The second random column is (weeks - week_centre) / units_in_12_weeks.
    outer, client: SQL of the outer grouping (None: there is none) and of the client's key.
    """

    table: str
    columns: Sequence[str]
    week_centre: int
    outer: str | None = None
    outer_columns: int = 0
    weeks: str = "weeks"
    units_in_12_weeks: int = 12
    client: str = "client_key"

    @property
    def time(self) -> str:
        """Time in 12-week units from the centre."""
        return f"(cast({self.weeks} as double) - {self.week_centre}) / {self.units_in_12_weeks}e0"

    @property
    def pairs(self) -> list[Pair]:
        """Upper triangle of the columns."""
        return [(j, k) for j in range(len(self.columns)) for k in range(j, len(self.columns))]


def _rows(layout: Layout) -> str:
    """One row per row: its groups, its time in whole units and in 12 weeks, and its columns c0, c1 .."""
    columns = ", ".join(f"({c}) as c{j}" for j, c in enumerate(layout.columns))
    return (f"select {layout.outer or '0'} as outer_key, {layout.client} as client_key, {layout.weeks} as w, "
            f"{layout.time} as t, {columns} from {layout.table}")


def _clients(layout: Layout) -> str:
    """The start of a statement: `clients`, one row per client with outer group, tests, whole units of time, a and b."""
    each = ", ".join(f"sum(r.c{j}) as a{j}, sum(r.t * r.c{j}) as b{j}" for j in range(len(layout.columns)))
    return (
        f"with rows_in as ({_rows(layout)}), clients as (select r.outer_key, r.client_key, count(*) as tests, "
        f"cast(sum(r.w) as bigint) as w1, cast(sum(r.w * r.w) as bigint) as w2, {each} from rows_in as r "
        "group by r.outer_key, r.client_key)"
    )


def per_pattern(layout: Layout) -> str:
    """One row per outer group and time pattern: clients, and sums over clients of the products of a and b.

    a_j is a client's sum of column j, b_j that of time times column j.
    """
    products = []
    for j, k in layout.pairs:
        products.append(f"sum(p.a{j} * p.a{k}) as aa_{j}_{k}, sum(p.b{j} * p.b{k}) as bb_{j}_{k}")
        products.append(f"sum(p.a{j} * p.b{k} + p.a{k} * p.b{j}) / 2e0 as ab_{j}_{k}")
    return (
        f"{_clients(layout)} select p.outer_key, p.tests, p.w1, p.w2, count(*) as clients, "
        f"{', '.join(products)} from clients as p group by p.outer_key, p.tests, p.w1, p.w2"
    )


def per_client(layout: Layout) -> str:
    """One row per client, without its key: outer group, tests, whole units of time, and the sums a and b."""
    sums = ", ".join(f"p.a{j}, p.b{j}" for j in range(len(layout.columns)))
    return f"{_clients(layout)} select p.outer_key, p.tests, p.w1, p.w2, {sums} from clients as p"


def totals(layout: Layout) -> str:
    """One row per outer group: sums over rows of the products of the columns."""
    sums = ", ".join(f"sum(r.c{j} * r.c{k}) as t_{j}_{k}" for j, k in layout.pairs)
    return f"with rows_in as ({_rows(layout)}) select r.outer_key, {sums} from rows_in as r group by r.outer_key"


def _filled(values: pl.DataFrame, name: str, layout: Layout) -> NDArray[np.float64]:
    """Symmetric (m, k, k) from the columns name_j_k."""
    size = len(layout.columns)
    full = np.empty((values.height, size, size))
    for j, k in layout.pairs:
        full[:, j, k] = full[:, k, j] = values[f"{name}_{j}_{k}"].to_numpy()
    return full


def _time_products(found: pl.DataFrame, layout: Layout) -> NDArray[np.float64]:
    """Z'Z (m, 2, 2) of Z = (1, time) from tests, w1 and w2, which are whole numbers."""
    tests, w1, w2 = (found[name].to_numpy().astype(float) for name in ("tests", "w1", "w2"))
    centre, units = layout.week_centre, float(layout.units_in_12_weeks)
    zz = np.empty((found.height, 2, 2))
    zz[:, 0, 0] = tests
    zz[:, 0, 1] = zz[:, 1, 0] = (w1 - centre * tests) / units
    zz[:, 1, 1] = (w2 - 2.0 * centre * w1 + centre**2 * tests) / units**2
    return zz


def _arranged(found: pl.DataFrame, outer: pl.DataFrame, layout: Layout) -> Sums:
    """Sums of groups in order of their outer key, still without their products Z'W."""
    return Sums(
        rows=found["tests"].to_numpy().astype(float),
        zz=_time_products(found, layout),
        zw=None,
        total=_filled(outer, "t", layout),
        starts=found["outer_key"].search_sorted(outer["outer_key"]).to_numpy().astype(np.intp),
        weight=np.ones(found.height),
        outer_weight=np.ones(outer.height),
        outer_columns=layout.outer_columns,
    )


def _outer(whole: pl.DataFrame) -> pl.DataFrame:
    """The rows of `totals`, slices added up, in order of the outer key."""
    return whole.group_by("outer_key").agg(pl.all().sum()).sort("outer_key")


def sums_from(patterns: pl.DataFrame, whole: pl.DataFrame, layout: Layout) -> Sums:
    """Arrange the rows of `per_pattern` and `totals` as the engine's sums; random columns 1 and time.

    Rows of several slices of clients may stand together: those of one pattern, and of one outer group, add up.
    """
    keys = ["outer_key", "tests", "w1", "w2"]
    found = patterns.group_by(keys).agg(pl.all().sum()).sort(keys)
    clients = found["clients"].to_numpy().astype(float)
    aa, ab, bb = (_filled(found, name, layout) for name in ("aa", "ab", "bb"))
    pairs = np.stack([np.stack([aa, ab], axis=1), np.stack([ab, bb], axis=1)], axis=1)
    return replace(_arranged(found, _outer(whole), layout), weight=clients,
                   pairs=pairs / clients[:, None, None, None, None])


def sums_from_clients(clients: pl.DataFrame, whole: pl.DataFrame, layout: Layout) -> Sums:
    """The same from the rows of `per_client` and `totals`, in any order. Outer groups come sorted by their key."""
    # column by column into the order of all of them: a sorted copy of the frame would be as large as the sums
    order = clients.select(pl.arg_sort_by(*clients.columns)).to_series().to_numpy()
    zw = np.empty((clients.height, 2, len(layout.columns)))
    for side, name in enumerate("ab"):
        for place in range(len(layout.columns)):
            zw[:, side, place] = clients[f"{name}{place}"].to_numpy()[order]
    found = clients.select("outer_key", "tests", "w1", "w2")[order]
    return replace(_arranged(found, _outer(whole), layout), zw=zw)
