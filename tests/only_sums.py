"""A store as a derivation that brings only sums home leaves it: the results that sums can give, and no derived row."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

from click.testing import CliRunner

from pipeline.analyse.sums_results import AGREED
from pipeline.cli import main
from pipeline.derive import empty_schemas
from pipeline.derive_elsewhere import HOME_OF_SUMS
from pipeline.results import Partition, Result, ResultSet
from pipeline.settings import Settings
from pipeline.stages_report import _keep, read_results
from pipeline.store import edit_store, open_store

GIVEN = {
    ("common", "can_answer"): None, ("protocols", "fitted"): None, ("protocols", "difference"): None,
    ("protocols", "dose_response"): None, ("quarter", "gains"): ("gain_cmh2o", "gain_curve_cmh2o"),
    ("common", "data"): None,
}  # fmt: skip
"""Sections of which sums give rows: the statistics, or None for all."""
NOT_GIVEN = ("adherence_decile_pct",)


def of_sums(results: ResultSet) -> ResultSet:
    """The results of a whole review that sums would give too, and the sums declared among them."""
    rows = tuple(r for r in results.rows if (r.report, r.section) in GIVEN and r.statistic not in NOT_GIVEN
                 and r.statistic in (GIVEN[r.report, r.section] or (r.statistic,)))  # fmt: skip
    if any(r.key == "protocols.plan.people[consent=yes]" for r in results.rows):
        rows += (Result("protocols", "fitted", "taken", text=AGREED),)
    keys = {r.key for r in rows}

    def is_told(sums: Partition) -> bool:
        return {sums.total, *(p.partition("#")[0] for p in sums.parts)} <= keys

    return ResultSet(rows, tuple(s for s in results.partitions if is_told(s)))


def leave_sums(out: Path, settings: Settings | None = None) -> ResultSet:
    """Make the store at `out` of a whole review into one of sums alone; return its results."""
    with edit_store(out / "store.duckdb", must_exist=True) as store:
        results, quarter = read_results(store)
        told = of_sums(results)
        names = store.sql("select table_schema || '.' || table_name as name from information_schema.tables")["name"]
        kept = {n: store.table(n) for n in names if n.startswith(HOME_OF_SUMS)}
        empty_schemas(store)
        for name, frame in kept.items():
            with store.frame("kept_of_it", frame):
                store.execute(f"create table {name} as select * from kept_of_it")
        _keep(store, told, quarter, settings or Settings(), only_sums=True)
    return told


def run(*words: object, code: int = 0) -> str:
    told = CliRunner().invoke(main, [str(w) for w in words])
    assert told.exit_code == code, told.output
    return told.output


@dataclass(frozen=True)
class Made:
    """A folder after `report` on a store of sums, what the command said, and the results of the whole review."""

    out: Path
    said: str
    whole: ResultSet


def made_of(review: Path, out: Path) -> Made:
    """Copy a review to `out`, leave its store with sums alone and make the pages again."""
    shutil.copytree(review, out)
    with open_store(out / "store.duckdb", read_only=True) as store:
        whole, _ = read_results(store)
    leave_sums(out)
    return Made(out, run("report", "--out", out), whole)
