"""Times the derivation by rows and by way: `python -m bench.derivation [MILLIONS ...]`.

Each run is the command `rmt-outcomes derive` in a process of its own, on a copy of one store of generated rows: whole
in DuckDB, in slices by the size of the input, and on a Spark Connect server with several workers (the package pysail).
"""

# ruff: noqa: T201 - prints its table
from __future__ import annotations

import argparse
import datetime as dt
import json
import math
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from bench.derivation_table import report
from bench.engines_rows import SESSIONS_A_CLIENT, add_rows
from bench.intake import fresh, timed
from pipeline.store import edit_store
from tests.engines.servers import free_port, sail

RESULTS = Path(__file__).parent / "results"
#: The generator's own memory: its rows stream to the disk.
MAKING_MEMORY = "2GB"


def make(rows: int, place: Path) -> int:
    """Write a store of about so many generated session rows; return how many there are."""
    with edit_store(fresh(place) / "store.duckdb") as store:
        store.execute(f"set memory_limit = '{MAKING_MEMORY}'")
        store.execute("set preserve_insertion_order = false")
        return add_rows(store, rows)


def _pages(pid: int) -> float:
    """Return the largest memory in MB that a running process has had, with its children's."""
    status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    own = next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmHWM")) / 1024
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text(encoding="ascii").split()
    return own + sum(_pages(int(child)) for child in children)


def _ticks(pid: int) -> float:
    """Return the processor seconds of a running process."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@contextmanager
def _server(way: str) -> Iterator[tuple[str, int]]:
    """The word after `--engine`, and the process id of the server that it needs (0: none)."""
    if way != "sc":
        yield way, 0
        return
    with sail(free_port()) as (address, process):
        yield address, process.pid


def derive(way: str, made: Path, place: Path) -> dict[str, Any]:
    """Time one derivation on a copy of the store in `made`."""
    shutil.copyfile(made / "store.duckdb", fresh(place) / "store.duckdb")
    with _server(way) as (word, pid):
        found = timed([sys.executable, "-m", "pipeline", "derive", "--out", str(place), "--engine", word, "--quiet"])
        server = {"server_mb": _pages(pid), "server_cpu": _ticks(pid)} if pid else {"server_mb": 0.0, "server_cpu": 0.0}
    shutil.rmtree(place)
    return {"way": way, **found, **server}


def main() -> None:
    """Run the sizes in turn and write the table after each run, so that a run that is broken off leaves what it saw."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("millions", nargs="*", type=float, default=[1, 3, 10])
    words.add_argument("--whole-until", type=float, default=10, help="millions of rows up to which whole is run too")
    words.add_argument("--server-until", type=float, default=10, help="and a Spark Connect server")
    given = words.parse_args()
    stem, load, found = RESULTS / f"{dt.date.today().isoformat()}_engines", os.getloadavg()[0], []
    with tempfile.TemporaryDirectory(prefix="bench_engines_") as name:
        place = Path(name)
        for millions in given.millions:
            rows = make(int(millions * 1_000_000), place / "made")
            size = (place / "made" / "store.duckdb").stat().st_size / 1e6
            until = {"duckdb": given.whole_until, "slices": math.inf, "sc": given.server_until}
            for way in (w for w, most in until.items() if millions <= most):
                found.append({"rows": rows, "store_mb": size} | derive(way, place / "made", place / "out"))
                print(json.dumps(found[-1]), flush=True)
                stem.with_suffix(".json").write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
                sizes = " ".join(f"{m:g}" for m in given.millions)
                asked = f"{sizes} --whole-until {given.whole_until:g} --server-until {given.server_until:g}"
                text = report(found, load, asked, SESSIONS_A_CLIENT)
                stem.with_suffix(".md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
