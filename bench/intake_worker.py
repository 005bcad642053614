"""One timed run in a process of its own: `python -m bench.intake_worker WHAT FOLDER DATABASE`; prints JSON seconds."""

# ruff: noqa: T201 - its standard output is read by bench.intake
from __future__ import annotations

import json
import os
import sys
import time
from pathlib import Path

CONFIG = {"memory_limit": "600MB"}
TUNED = ("auto_detect=false, delim=',', quote='\"', escape='\"', strict_mode=true, store_rejects=true, "
         "buffer_size=8000000, max_line_size=1000000, ")


def cpu() -> float:
    """Return the seconds of processor time that this process has used."""
    used = os.times()
    return used.user + used.system


def bare(folder: Path, database: Path, options: str) -> dict[str, float]:
    """Time `create table as select * from read_csv` with the contract's types, to a checkpointed file."""
    import duckdb

    from pipeline.contract import TABLES
    from pipeline.store.schema import SQL_TYPES
    types = ", ".join(f"'{c.name}': '{SQL_TYPES[c.kind]}'" for c in TABLES["sessions"].columns)
    with duckdb.connect(config=CONFIG | {"temp_directory": f"{database}.spill"}) as connection:
        begun, used = time.perf_counter(), cpu()
        connection.execute(f"attach '{database}' as bench")
        connection.execute("create table bench.sessions as select * from "
                           f"read_csv('{folder / 'sessions.csv'}', {options}header=true, columns={{{types}}})")
        connection.execute("checkpoint bench")
        return {"seconds": time.perf_counter() - begun, "seconds_cpu": cpu() - used}


def ours(folder: Path, database: Path) -> dict[str, float]:
    """Time our reading and judging, and the same with loading, checkpoint and replacing the store."""
    from pipeline.ingest import read_folder
    from pipeline.settings import Settings
    from pipeline.store import edit_store
    from pipeline.validate import LoadMeta, check, load
    begun, used = time.perf_counter(), cpu()
    intake = read_folder(folder)
    with edit_store(database) as store:
        verdict = check(intake, Settings(), store)
        judged, judged_cpu = time.perf_counter() - begun, cpu() - used
        load(store, verdict, LoadMeta("2026-01-01T00:00:00", "0", "{}"))
    return {"verdict": judged, "commit": time.perf_counter() - begun, "verdict_cpu": judged_cpu,
            "commit_cpu": cpu() - used}


def main(what: str, folder: str, database: str) -> None:
    runs = {"bare": lambda f, d: bare(f, d, ""), "tuned": lambda f, d: bare(f, d, TUNED), "ours": ours}
    found = runs[what](Path(folder), Path(database))
    print(json.dumps(found))


if __name__ == "__main__":
    main(*sys.argv[1:])
