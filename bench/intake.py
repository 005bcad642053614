"""Times the intake of large CSV files beside a bare load: `python -m bench.intake [MILLIONS ...]`.

Everything runs in processes of their own, one after another in one run; memory is what `/usr/bin/time -v` says.
"""

# ruff: noqa: T201 - prints its table
from __future__ import annotations

import argparse
import datetime as dt
import json
import math
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import duckdb

from bench.intake_data import write

RESULTS = Path(__file__).parent / "results"
LIMITS = {"verdict": 1.6, "commit": 1.8, "command": 2.0}
STEPS = ("bare", "tuned", "verdict", "commit", "command", "reload")
HEAD = ("rows", "clock", *(f"{name} s" for name in STEPS), "verdict/bare", "commit/bare", "command/bare",
        "command/tuned", "reload/command", "peak MB")


def timed(words: list[str]) -> dict[str, Any]:
    """Run a command under /usr/bin/time; return its JSON (if any), wall and CPU seconds and peak memory in MB."""
    begun = time.perf_counter()
    done = subprocess.run(["/usr/bin/time", "-v", *words], capture_output=True, text=True, check=False)
    wall = time.perf_counter() - begun
    if done.returncode:
        raise SystemExit(done.stderr)
    memory, user, system = (
        float(re.search(pattern, done.stderr).group(1))  # type: ignore[union-attr]
        for pattern in (r"Maximum resident set size \(kbytes\): (\d+)", r"User time \(seconds\): ([\d.]+)",
                        r"System time \(seconds\): ([\d.]+)"))
    found = json.loads(done.stdout) if done.stdout.startswith("{") else {}
    return {"wall": wall, "wall_cpu": user + system, "peak_mb": memory / 1024} | found


def worker(what: str, folder: Path, place: Path) -> dict[str, Any]:
    database = fresh(place) / "store.duckdb"
    return timed([sys.executable, "-m", "bench.intake_worker", what, str(folder), str(database)])


def command(folder: Path, out: Path) -> dict[str, Any]:
    return timed([sys.executable, "-m", "pipeline", "load", str(folder), "--out", str(out), "--quiet"])


def fresh(place: Path) -> Path:
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir(parents=True)
    return place


def run(rows: int, place: Path, repeats: int) -> dict[str, Any]:
    """Time one size; of each measure the least of `repeats`, taken in turns."""
    folder = place / f"rows_{rows}"
    write(folder, rows)
    runs: dict[str, list[dict[str, Any]]] = {}
    for _ in range(repeats):
        for what in ("bare", "tuned", "ours"):
            runs.setdefault(what, []).append(worker(what, folder, place / "work"))
        runs.setdefault("command", []).append(command(folder, fresh(place / "out")))
        runs.setdefault("reload", []).append(command(folder, place / "out"))
    shutil.rmtree(place / "work")

    def least(what: str, name: str) -> float:
        return min(r[name] for r in runs[what])

    measures = {"bare": ("bare", "seconds"), "tuned": ("tuned", "seconds"), "verdict": ("ours", "verdict"),
                "commit": ("ours", "commit"), "command": ("command", "wall"), "reload": ("reload", "wall")}
    wall = {step: least(*measure) for step, measure in measures.items()}
    cpu = {step: least(what, f"{name}_cpu") for step, (what, name) in measures.items()}
    peak = max(r["peak_mb"] for what in ("ours", "command") for r in runs[what])
    return {"rows": rows, "wall_seconds": wall, "cpu_seconds": cpu, "peak_mb": peak, "store_mb": size(place / "out")}


def size(out: Path) -> float:
    return (out / "store.duckdb").stat().st_size / 1e6


def exponent(found: list[dict[str, Any]], kind: str, name: str) -> float:
    """Return how cost grows with rows between the smallest and the largest size, as a power."""
    a, b = found[0], found[-1]
    return math.log(b[kind][name] / a[kind][name]) / math.log(b["rows"] / a["rows"])


def line(r: dict[str, Any], kind: str) -> list[str]:
    s = r[f"{kind}_seconds"]
    ratios = (s["verdict"] / s["bare"], s["commit"] / s["bare"], s["command"] / s["bare"], s["command"] / s["tuned"],
              s["reload"] / s["command"])
    return [f"{r['rows']:,}", kind, *(f"{s[n]:.2f}" for n in STEPS), *(f"{x:.2f}" for x in ratios),
            f"{r['peak_mb']:.0f}"]


def report(found: list[dict[str, Any]], load_average: float, repeats: int) -> str:
    rows = [HEAD, ("---",) * len(HEAD), *(line(r, kind) for r in found for kind in ("wall", "cpu"))]
    table = "\n".join("| " + " | ".join(row) + " |" for row in rows)
    growth = (
        f"Cost of the whole command grows as rows to the power {exponent(found, 'wall_seconds', 'command'):.2f} by the "
        f"clock and {exponent(found, 'cpu_seconds', 'command'):.2f} by CPU time (aim: at most 1.05), from "
        f"{found[0]['rows']:,} to {found[-1]['rows']:,} rows.") if len(found) > 1 else ""
    aims = ", ".join(f"{name} {limit}" for name, limit in LIMITS.items())
    sizes = " ".join(f"{r['rows'] / 1e6:g}" for r in found)
    return (
        f"# Intake of session rows from CSV\n\nCommand: `python -m bench.intake {sizes} --repeats {repeats}`; DuckDB "
        f"{duckdb.__version__}, {os.cpu_count()} cores, load average {load_average:.1f} when it began. Least of the "
        f"repeats, each in its own process. cpu: user and system seconds of the same, which depend less on "
        f"what else the machine does than the wall clock.\n\n{table}\n\n"
        f"Aims at 10 million rows, as ratios to the bare load: {aims}; reload 0.10 of the command; peak 900 MB. "
        f"{growth}\n\n"
        f"bare: `create table as select * from read_csv(...)` with the same types, to a checkpointed file. tuned: the "
        f"same with the reader's options that the intake uses. verdict: survey of the bytes, rows judged, identity "
        f"gate, repeats. commit: and loaded, checkpointed, put in place. command: the whole of `rmt-outcomes load`, "
        f"the interpreter's start included. reload: the same command on the same files.\n")


def main() -> None:
    """Run the sizes in turn and write the table."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("millions", nargs="*", type=float, default=[1, 3, 10])
    words.add_argument("--repeats", type=int, default=2)
    given = words.parse_args()
    begun, found = os.getloadavg()[0], []
    with tempfile.TemporaryDirectory(prefix="bench_intake_") as place:
        for n in given.millions:
            rows = int(n * 1_000_000)
            found.append(run(rows, Path(place), given.repeats))
            print(json.dumps(found[-1]), flush=True)
            shutil.rmtree(Path(place) / f"rows_{rows}")
    stem = RESULTS / f"{dt.date.today().isoformat()}_intake"
    RESULTS.mkdir(exist_ok=True)
    stem.with_suffix(".json").write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    stem.with_suffix(".md").write_text(report(found, begun, given.repeats), encoding="utf-8")


if __name__ == "__main__":
    main()
