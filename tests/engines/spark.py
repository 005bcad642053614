"""`python -m tests.engines.spark [ROWS] [WAY ...] [--file FILE]` (`make spark`): every table by Apache Spark itself.

A standalone cluster of one master and two worker processes, twice: left alone; and with a worker killed while a table
is made, then the server too, after which the same command goes on. WAY is one of them, `alone` or `killed`. Compared
row by row with DuckDB, whole; ends with 1 where a table differs. FILE gets the table of results.
"""

# ruff: noqa: T201 - a command
from __future__ import annotations

import argparse
import os
import platform
import signal
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import duckdb

from pipeline.errors import EngineError
from pipeline.store import Store
from tests.engines.same import compare
from tests.engines.same_results import AgainstRows
from tests.engines.spark_cluster import EXECUTOR_MEMORY, SHUFFLE, Cluster, cluster, home, kill
from tests.engines.test_equality import PLANTED, RELIED_ON, differs
from tests.engines.ways import cohort, elsewhere, tables, whole

#: How the server's log says that a task went with its worker.
TASK_LOST = "failed because while it was being computed, its executor exited"
#: The tables during which a worker that has a task, and the server, are killed.
WORKER_DIES_IN, SERVER_DIES_IN = "quantities.session_marks", "frames.client_weeks"


@dataclass
class Build:
    """One way to make every table: how long it took, what differs from the whole, and what was seen on the way."""

    way: str
    seconds: float = 0.0
    differs: dict[str, str] = field(default_factory=dict)
    seen: str = ""


def timed(build: Build, work: Callable[[], object]) -> None:
    """Add the seconds of some work to a build."""
    begun = time.perf_counter()
    try:
        work()
    finally:
        build.seconds += time.perf_counter() - begun


def forms(address: str, base: Path) -> dict[str, str]:
    """Say which of the portable forms, and of the forms relied on, give other rows on Spark; empty where none does."""
    said = {form: differs(address, base / f"form_{n}", form) for n, form in enumerate([*PLANTED.values(), *RELIED_ON])}
    return {form: differing for form, differing in said.items() if differing}


def left_alone(store: Store, base: Path) -> Build:
    """Two workers from the first table to the last; then models from sums, and the forms one by one."""
    build, place, models = Build("Spark, 2 workers"), base / "alone", AgainstRows(store)
    with cluster(base / "log_alone") as spark:
        timed(build, lambda: elsewhere(store, place, spark.address, then=models))
        build.seconds -= models.seconds
        build.differs = compare(base / "whole", place, tables()) | forms(spark.address, base)
    build.differs |= {"results from sums": str(models.unlike)} if models.unlike else {}
    build.seen = f"{len(PLANTED) + len(RELIED_ON)} portable forms one by one; {models.told}"
    return build


def _kill_one_at_work(spark: Cluster, since: int, seconds: float = 60.0) -> None:
    """Kill a worker as soon as it has a task."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if worker := spark.busy(since):
            kill(worker)
            return
        time.sleep(0.1)


def killing(spark: Cluster) -> Callable[[str, int, int], None]:
    """Return a progress that kills a worker, and later the server, while a table is made."""

    def progress(name: str, at: int, of: int) -> None:
        if name == WORKER_DIES_IN:
            since = len(spark.log.read_text(encoding="utf-8", errors="replace"))
            threading.Thread(target=_kill_one_at_work, args=(spark, since)).start()
        if name == SERVER_DIES_IN:
            threading.Timer(1.0, kill, [spark.server]).start()

    return progress


def killed_twice(store: Store, base: Path) -> Build:
    """A worker dies and the build goes on; the server dies and the build is said to be broken; the next goes on."""
    build, place = Build("Spark, a worker killed, then the server; run again"), base / "killed"
    with cluster(base / "log_killed") as spark:
        try:
            timed(build, lambda: elsewhere(store, place, spark.address, killing(spark)))
            build.differs["the server"] = "was killed, and nothing was said"
        except EngineError as fault:
            build.seen = f"tasks lost with the worker: {spark.said(TASK_LOST)}; then: {fault.what}"
        if not spark.said("Lost executor"):
            build.differs["the worker"] = "was killed, and the cluster did not miss it"
    kept = len(list(place.glob("*/_finished")))
    with cluster(base / "log_again") as spark:
        timed(build, lambda: elsewhere(store, place, spark.address))
    build.seen += f"; went on from {kept} finished tables"
    build.differs |= compare(base / "whole", place, tables())
    return build


WAYS = {"alone": left_alone, "killed": killed_twice}


def told(builds: list[Build], sessions: int, words: str) -> str:
    """Write the table of results."""
    lines = [
        "# Every derived table by Apache Spark itself", "",
        f"Command: `python -m tests.engines.spark {words}` (`make spark`). {sessions:,} session rows (the sample "
        f"cohort and generated rows), {len(tables())} tables from sql/; DuckDB {duckdb.__version__}, "
        f"Spark {next((home() / 'jars').glob('spark-connect_*.jar')).stem.rpartition('-')[2]}, Python "
        f"{platform.python_version()}, {os.cpu_count()} cores, load average {os.getloadavg()[2]:.1f} when it ended. "
        f"Standalone cluster on loopback: one master, two worker processes of one core and {EXECUTOR_MEMORY} each, "
        f"{SHUFFLE} shuffle parts.", "",
        "| way | seconds | tables that differ from the whole | seen |", "| --- | --- | --- | --- |"]
    for build in builds:
        differs = "; ".join(f"{t}: {w}" for t, w in build.differs.items()) or "none"
        lines.append(f"| {build.way} | {build.seconds:.0f} | {differs} | {build.seen} |")
    return "\n".join(lines) + "\n"


def main(rows: int, ways: list[str], file: Path | None) -> int:
    """Make every table whole, by a cluster, and by one that is killed; compare. Returns the exit code."""
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))  # so that what was started is stopped then too
    with tempfile.TemporaryDirectory() as name, cohort(rows) as store:
        base, first = Path(name), Build("DuckDB, whole")
        timed(first, lambda: whole(store, base / "whole"))
        sessions = int(store.sql("select count(*) as n from received.sessions").item())
        builds = [first]
        for way in ways:
            builds.append(WAYS[way](store, base))
            text = told(builds, sessions, " ".join([str(rows), *ways]))
            print(text, flush=True)
            if file:
                file.write_text(text, encoding="utf-8")
    return 1 if any(build.differs for build in builds) else 0


if __name__ == "__main__":
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("rows", nargs="?", type=int, default=1_000_000)
    words.add_argument("ways", nargs="*", metavar="WAY", default=list(WAYS))
    words.add_argument("--file", type=Path)
    given = words.parse_args()
    sys.exit(main(given.rows, given.ways, given.file))
