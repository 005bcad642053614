"""`python -m tests.engines [ROWS]`: the equality of the three ways over so many generated sessions, 1,000,000 at first:
every derived table, and every result that is computed from sums against those from rows.

Ends with 1 and says which tables and results differ, where any does.
"""

# ruff: noqa: T201 - a command
from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from tests.engines.same import compare
from tests.engines.same_results import AgainstRows
from tests.engines.servers import free_port, sail
from tests.engines.ways import cohort, elsewhere, tables, whole


def main(sessions: int = 1_000_000) -> int:
    """Make every table three times and compare; returns the exit code."""
    with tempfile.TemporaryDirectory() as base, cohort(sessions) as store, sail(free_port()) as (address, _):
        folder, begun = Path(base), time.perf_counter()
        whole(store, folder / "whole")
        seconds, models = {"whole": time.perf_counter() - begun}, {}
        for name, way in (("slices", "slices:16"), ("sc", address)):
            models[name], begun = AgainstRows(store), time.perf_counter()
            elsewhere(store, folder / name, way, then=models[name])
            seconds[name] = time.perf_counter() - begun - models[name].seconds
        sessions = int(store.sql("select count(*) as n from received.sessions").item())
        said = {"slices": compare(folder / "whole", folder / "slices", tables(in_slices=True)),
                "sc": compare(folder / "whole", folder / "sc", tables())}
    print(f"{sessions:,} session rows, {len(tables())} tables; seconds: "
          + ", ".join(f"{way} {taken:.1f}" for way, taken in seconds.items()))
    for way, apart in said.items():
        print(f"{way}: " + ("every table equals the whole" if not apart else str(apart)))
    for way, found in models.items():
        print(f"{way}: {found.told}")
    return 1 if any(said.values()) or any(found.unlike for found in models.values()) else 0


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
