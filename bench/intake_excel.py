"""Times reading 200,000 session rows from a workbook beside the text read of DuckDB: `python -m bench.intake_excel`.

Both sides run in turn in one process and read from warm files; the least of the repeats counts. The ratio of processor
time stands beside that of wall time, because other work on the machine tells on the latter.
"""

# ruff: noqa: T201 - prints its table
from __future__ import annotations

import datetime as dt
import json
import os
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import duckdb

from bench.intake_data import write
from pipeline.ingest import read_folder
from pipeline.ingest.workbook_out import Sheet, write_workbook

RESULTS = Path(__file__).parent / "results"
ROWS, REPEATS, LIMIT = 200_000, 5, 10.0


def make(folder: Path) -> tuple[Path, Path]:
    """Write the same rows as CSV and as a workbook of typed cells; return the CSV and the workbook's folder."""
    write(folder / "csv", ROWS)
    csv = folder / "csv" / "sessions.csv"
    rows = [tuple(line.split(",")) for line in csv.read_text(encoding="utf-8").splitlines()]
    book = folder / "book"
    book.mkdir()
    write_workbook(book / "sessions.xlsx", [Sheet("sessions", rows, typed=True, text_columns=frozenset({0}))])
    return csv, book


def by_duckdb(csv: Path) -> int:
    with duckdb.connect() as database:
        database.execute(f"create table rows as select * from read_csv('{csv}', all_varchar = true)")
        return int(database.sql("select count(*) from rows").fetchall()[0][0])


def by_reader(book: Path) -> int:
    return read_folder(book).files[0].rows.height


def clocked(work: Callable[[], int]) -> tuple[float, float]:
    """Return wall and processor seconds of one run that must read every row."""
    wall, cpu = time.perf_counter(), time.process_time()
    assert work() == ROWS
    return time.perf_counter() - wall, time.process_time() - cpu


def measure() -> dict[str, object]:
    load = os.getloadavg()[0]
    with tempfile.TemporaryDirectory() as place:
        csv, book = make(Path(place))
        size_mb = (book / "sessions.xlsx").stat().st_size / 1e6
        runs = {"duckdb text": [], "workbook": []}
        for _ in range(REPEATS):
            runs["duckdb text"].append(clocked(lambda: by_duckdb(csv)))
            runs["workbook"].append(clocked(lambda: by_reader(book)))
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {"rows": ROWS, "repeats": REPEATS, "duckdb": duckdb.__version__, "load_average": load,
            "workbook_mb": size_mb, "peak_mb_of_the_process": peak_mb, "runs": runs,
            "least": {name: [min(w for w, _ in some), min(c for _, c in some)] for name, some in runs.items()}}


def report(found: dict) -> str:
    (text_wall, text_cpu), (book_wall, book_cpu) = found["least"]["duckdb text"], found["least"]["workbook"]
    wall, cpu = book_wall / text_wall, book_cpu / text_cpu
    met = [word if ratio < LIMIT else f"not {word}" for ratio, word in ((wall, "met"), (cpu, "met"))]
    return f"""# Intake of a workbook

Command: `python -m bench.intake_excel`; DuckDB {found['duckdb']}, {os.cpu_count()} cores, load average
{found['load_average']:.1f} when it began. Least of {REPEATS} repeats, in turn.

| rows | workbook MB | DuckDB text s | workbook s | ratio | ratio of CPU |
|---|---|---|---|---|---|
| {ROWS:,} | {found['workbook_mb']:.1f} | {text_wall:.2f} | {book_wall:.2f} | {wall:.1f} | {cpu:.1f} |

Aim: under {LIMIT:g} times DuckDB's text read: {met[0]} in wall time, {met[1]} in CPU time. The text read is
`read_csv(all_varchar)` into a table in memory; the workbook is read to the frame that the intake judges, its hash and
lines included.
"""


if __name__ == "__main__":
    result = measure()
    stem = RESULTS / f"{dt.date.today().isoformat()}_intake_excel"
    RESULTS.mkdir(exist_ok=True)
    stem.with_suffix(".json").write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")
    stem.with_suffix(".md").write_text(report(result), encoding="utf-8")
    print(report(result))
    sys.exit(0)
