"""`python -m tests.engines [ROWS]`: the equality of the three ways over so many generated sessions, 1,000,000 at first.

Ends with 1 and says which tables differ, where any does.
"""

# ruff: noqa: T201 - a command
from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from tests.engines.same import compare
from tests.engines.servers import free_port, sail
from tests.engines.ways import cohort, elsewhere, tables, whole


def main(rows: int = 1_000_000) -> int:
    """Make every table three times and compare; returns the exit code."""
    with tempfile.TemporaryDirectory() as base, cohort(rows) as store, sail(free_port()) as (address, _):
        folder, seconds = Path(base), {}
        for way in ("whole", "slices:16", address):
            begun = time.perf_counter()
            place = folder / way.partition(":")[0]
            whole(store, place) if way == "whole" else elsewhere(store, place, way)
            seconds[way.partition(":")[0]] = time.perf_counter() - begun
        sessions = int(store.sql("select count(*) as n from received.sessions").item())
        said = {"slices": compare(folder / "whole", folder / "slices", tables(in_slices=True)),
                "sc": compare(folder / "whole", folder / "sc", tables())}
    print(f"{sessions:,} session rows, {len(tables())} tables; seconds: "
          + ", ".join(f"{way} {taken:.1f}" for way, taken in seconds.items()))
    for way, differing in said.items():
        print(f"{way}: " + ("every table equals the whole" if not differing else str(differing)))
    return 1 if any(said.values()) else 0


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
