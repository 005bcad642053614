"""Times the load of a changed export beside the first one: `python -m bench.intake_changed [ROWS]`.

The second file holds every row of the first, 1 % of them changed, and 1 % more. Writes a table under bench/results/.
"""

# ruff: noqa: T201 - prints its table
from __future__ import annotations

import argparse
import datetime as dt
import os
import shutil
import tempfile
from pathlib import Path
from typing import Any

import duckdb

from bench.intake import RESULTS, command, fresh, size
from bench.intake_data import SESSIONS, write

#: Rows of the second file: the first's, of which each hundredth trained 40 breaths more, and the clients that follow.
CHANGED = f"""
with first as ({SESSIONS.replace("$rows", "$more")}),
numbered as (select *, row_number() over () as n from first)
select * exclude (n) replace (case when n % 100 = 0 and n <= $rows then breaths_done + 40 else breaths_done end
                              as breaths_done)
from numbered order by n
"""


def write_changed(folder: Path, rows: int, first: Path) -> Path:
    """Write the second folder beside the first; return it."""
    shutil.copytree(first, folder)
    with duckdb.connect(config={"memory_limit": "1GB", "temp_directory": str(folder.parent / "spill")}) as database:
        text = CHANGED.replace("$rows", str(rows)).replace("$more", str(rows + rows // 100))
        database.execute(f"copy ({text}) to '{folder / 'sessions.csv'}' (header)")
    return folder


def run(rows: int, place: Path, repeats: int) -> list[tuple[str, dict[str, Any]]]:
    """Time first, changed and unchanged loads; of each the least of `repeats`."""
    write(place / "first", rows)
    second, out = write_changed(place / "second", rows, place / "first"), place / "out"
    found: dict[str, list[dict[str, Any]]] = {}
    for _ in range(repeats):
        fresh(out)
        for name, folder in (("first load", place / "first"), ("changed", second), ("the same again", second)):
            found.setdefault(name, []).append(command(folder, out) | {"store_mb": size(out)})
    with duckdb.connect(str(out / "store.duckdb"), read_only=True) as store:
        (closed, current), = store.sql("select count(to_batch), count(*) - count(to_batch) "
                                       "from received.sessions").fetchall()
    assert (closed, current) == (rows // 100, rows + rows // 100), (closed, current)
    return [(name, min(runs, key=lambda r: r["wall"])) for name, runs in found.items()]


def main() -> None:
    """Run and write the table."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("rows", nargs="?", type=int, default=1_000_000)
    words.add_argument("--repeats", type=int, default=3)
    given, load_average = words.parse_args(), os.getloadavg()[0]
    with tempfile.TemporaryDirectory(prefix="bench_changed_") as place:
        found = run(given.rows, Path(place), given.repeats)
    base = found[0][1]
    rows = [f"| {name} | {r['wall']:.2f} | {r['wall_cpu']:.2f} | {r['wall'] / base['wall']:.2f} | "
            f"{r['wall_cpu'] / base['wall_cpu']:.2f} | {r['peak_mb']:.0f} | {r['store_mb']:.1f} |" for name, r in found]
    text = (f"# Loading a changed export of {given.rows:,} session rows\n\nCommand: `python -m bench.intake_changed "
            f"{given.rows} --repeats {given.repeats}`; DuckDB {duckdb.__version__}, {os.cpu_count()} cores, load "
            f"average {load_average:.1f} when it began: the wall clock tells little then. The second file holds all "
            "rows of the first, 1 % of them changed, and 1 % more; whole commands, the least of the repeats.\n\n"
            "| load | wall s | CPU s | wall / first | CPU / first | peak MB | store MB after |\n"
            "|---|---|---|---|---|---|---|\n" + "\n".join(rows) + "\n")
    print(text)
    (RESULTS / f"{dt.date.today().isoformat()}_intake_changed.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
