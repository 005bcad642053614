"""Orders and runs the SQL files: sql/<folder>/<file>.sql makes the table <folder>.<file>.

The order is read from the table references of the texts and written down nowhere. One derivation is one transaction:
after a fault the tables are those of the last good run. Where the SQL is run is an engine's matter (derive_elsewhere
holds what is done for engines outside the store).
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import duckdb
import polars as pl

from pipeline import assets, reference
from pipeline.engines import Desk, Engine, InStore, Passing
from pipeline.errors import RmtError
from pipeline.identity.day_offsets import EPOCH
from pipeline.identity.quarters import BLOCK_DAYS
from pipeline.reference.units import FACTORS
from pipeline.settings import Settings

if TYPE_CHECKING:
    from pipeline.store import Store

FOLDERS = ("settled", "quantities", "frames", "must_be_empty")
"""Folders of SQL, from the ground up."""

MADE_HERE = {
    "settings.current": frozenset[str](),
    "reference.unit_factors": frozenset[str](),
    "reference.predictions": frozenset({"settled.clients"}),
}
"""Tables that come from Python, and what they need first."""

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class DeriveSummary:
    """What a derivation made: rows by table; queries for the sites by cause; and rows of `must_be_empty`, by file.

    A row in `offending` is a fault of this program or of its settings, a row in `queries` a question to a site.
    """

    tables: tuple[tuple[str, int], ...]
    queries: Mapping[str, int]
    offending: Mapping[str, int]


def sql_files() -> dict[str, str]:
    """Every SQL file by the table it makes, such as "settled.tests"."""
    names = [n for n in assets.names("sql", ".sql") if n.count("/") == 1 and n.split("/")[0] in FOLDERS]
    return {n.removesuffix(".sql").replace("/", "."): assets.text("sql", n) for n in names}


def references(texts: Mapping[str, str]) -> dict[str, set[str]]:
    """Tables that each text reads, as schema.table. RmtError names the place of a text that is not one SELECT."""
    with duckdb.connect(":memory:") as parser:
        trees = {
            name: json.loads(parser.execute("select json_serialize_sql(?)", [text]).fetchall()[0][0])
            for name, text in sorted(texts.items())
        }
    for name, tree in trees.items():
        if tree["error"] or len(tree["statements"]) != 1:
            before = texts[name][: int(tree.get("position", 0))]
            raise RmtError(
                str(tree.get("error_message", "more than one statement")), expected="one SELECT",
                where=f"{_path(name)}:{before.count(chr(10)) + 1}", now="mend this file",
            )
    return {name: {f"{s}.{t}" for s, t in _base_tables(tree) if s} for name, tree in trees.items()}


def _path(name: str) -> str:
    return f"sql/{name.replace('.', '/')}.sql"


def _base_tables(node: Any) -> Iterator[tuple[str, str]]:
    """Walk a parsed statement and give out every table it names."""
    if isinstance(node, dict):
        if node.get("type") == "BASE_TABLE":
            yield node["schema_name"], node["table_name"]
        for value in node.values():
            yield from _base_tables(value)
    elif isinstance(node, list):
        for value in node:
            yield from _base_tables(value)


def received_behind(tables: Iterable[str]) -> list[str]:
    """Names of the `received` tables that some derived tables are made from, through every step, sorted."""
    read = references(sql_files()) | {name: set(before) for name, before in MADE_HERE.items()}
    waiting, seen = list(tables), set[str]()
    while waiting:
        name = waiting.pop()
        if name not in seen:
            seen.add(name)
            waiting += sorted(read.get(name, ()))
    return sorted(name.removeprefix("received.") for name in seen if name.startswith("received."))


def run_order(files: Mapping[str, str]) -> list[str]:
    """Names of all tables to make, each after those it reads. RmtError names a cycle, or a table nobody makes."""
    needs: dict[str, set[str]] = {name: set(before) for name, before in MADE_HERE.items()}
    for name, read in references(files).items():
        unknown = sorted(t for t in read if t not in files and t not in MADE_HERE and not t.startswith("received."))
        if unknown:
            raise RmtError(f"reads {', '.join(unknown)}, which no file makes", where=_path(name),
                           now="add the file or mend the name")
        needs[name] = {t for t in read if not t.startswith("received.")}
    sorter = TopologicalSorter({name: sorted(before) for name, before in sorted(needs.items())})
    try:
        return list(sorter.static_order())
    except CycleError as fault:
        raise RmtError("these tables read each other in a circle: " + " <- ".join(fault.args[1]), where="sql",
                       now="let one of them stop reading the next") from fault


def derive(
    store: Store, settings: Settings, *, as_of_batch: int | None = None, progress: Progress | None = None
) -> DeriveSummary:
    """Build every derived table from the rows current at `as_of_batch` (default: the last batch).

    RmtError where a file is not sound SQL, before anything is touched.
    """
    files = sql_files()
    order = run_order(files)
    made = frames_made_here(settings, batch(store, as_of_batch), lambda: store.table("settled.clients"))
    with store.transaction(), tempfile.TemporaryDirectory(prefix="rmt-outcomes-") as folder:
        empty_schemas(store)
        build_all(InStore(store.execute), Passing(Path(folder)), order, files, made, progress)
        return _summary(store, order)


def build_all(
    engine: Engine, desk: Desk | Passing, order: list[str], files: Mapping[str, str],
    made_here: Mapping[str, Callable[[], pl.DataFrame]], progress: Progress | None = None,
) -> None:
    """Make every table in its order, from its SQL file or from Python; those that are finished are only named."""
    for at, name in enumerate(order):
        if progress is not None:
            progress(name, at, len(order))
        if desk.is_finished(name):
            engine.table(name, desk.place(name))
            continue
        out = desk.begin(name)
        if name in files:
            engine.build(name, files[name], out)
        else:
            out.mkdir(exist_ok=True)
            made_here[name]().write_parquet(out / "made.parquet")
            engine.table(name, out)
        desk.finish(name)


def empty_schemas(store: Store) -> None:
    """Begin afresh, so that no table of an older program version stays behind."""
    for schema in (*FOLDERS, "settings", "reference"):
        store.execute(f"drop schema if exists {schema} cascade")
        store.execute(f"create schema {schema}")


def frames_made_here(
    settings: Settings, as_of_batch: int, clients: Callable[[], pl.DataFrame]
) -> dict[str, Callable[[], pl.DataFrame]]:
    """How the tables of MADE_HERE are made; `clients` gives settled.clients once it is there."""
    return {
        "settings.current": lambda: current_settings(settings, as_of_batch),
        "reference.unit_factors": unit_factors,
        "reference.predictions": lambda: ranked_predictions(clients()),
    }


def batch(store: Store, as_of_batch: int | None) -> int:
    """The batch given, or the last one; 0 before any."""
    if as_of_batch is not None:
        return as_of_batch
    return int(store.sql("select coalesce(max(batch_id), 0) as batch_id from received.batches").item())


def current_settings(settings: Settings, as_of_batch: int) -> pl.DataFrame:
    """One row: every setting, `as_of_batch`, and how `relative` tells days: `day_zero_on` and `block_days`."""
    beside = {"as_of_batch": as_of_batch, "day_zero_on": EPOCH, "block_days": BLOCK_DAYS}
    return pl.DataFrame([settings.as_row() | beside])


def unit_factors() -> pl.DataFrame:
    """Columns unit and cmh2o_per_unit, sorted."""
    rows = sorted(FACTORS.items())
    return pl.DataFrame(rows, schema={"unit": pl.String, "cmh2o_per_unit": pl.Float64}, orient="row")


def ranked_predictions(clients: pl.DataFrame) -> pl.DataFrame:
    """Predictions of `reference` with `preference`: 1 for the equation that stands first in EQUATIONS."""
    places = {equation.id: place for place, equation in enumerate(reference.EQUATIONS, start=1)}
    ranked = pl.col("equation").replace_strict(places, return_dtype=pl.Int64, default=None).alias("preference")
    return reference.predictions(clients).with_columns(ranked)


def _summary(store: Store, order: list[str]) -> DeriveSummary:
    counts = {name: int(store.sql(f"select count(*) as n from {name}").item()) for name in order}
    return summary_of(counts, store.sql("select cause, count(*) as n from frames.queries group by cause"))


def summary_of(counts: Mapping[str, int], causes: pl.DataFrame) -> DeriveSummary:
    """Sum up a derivation from the rows of each table, and of frames.queries by cause (columns cause, n)."""
    return DeriveSummary(
        tables=tuple(counts.items()),
        queries=dict(causes.sort("cause").iter_rows()),
        offending={n.split(".")[1]: c for n, c in counts.items() if n.startswith("must_be_empty.")},
    )
