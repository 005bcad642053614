"""The table of bench.derivation."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from typing import Any

import duckdb

WAYS = {"duckdb": "DuckDB, whole", "slices": "slices, by size", "sc": "Spark Connect (pysail)"}
HEAD = ("session rows", "way", "slices", "wall s", "to whole", "CPU s", "to whole", "peak MB", "server's peak MB")

AIM = 100_000_000

Runs = Sequence[dict[str, Any]]


def _cpu(run: dict[str, Any]) -> float:
    return float(run["wall_cpu"] + run["server_cpu"])


def _ratio(value: float, whole: float | None) -> str:
    return f"{value / whole:.2f}" if whole else "-"


def _line(run: dict[str, Any], found: Runs) -> tuple[str, ...]:
    from pipeline.engines.slices import by_size
    whole = next((r for r in found if r["rows"] == run["rows"] and r["way"] == "duckdb"), None)
    return (f"{run['rows']:,}", WAYS[run["way"]], str(by_size(run["rows"])) if run["way"] == "slices" else "-",
            f"{run['wall']:.0f}", _ratio(run["wall"], whole and whole["wall"]), f"{_cpu(run):.0f}",
            _ratio(_cpu(run), whole and _cpu(whole)), f"{run['peak_mb']:.0f}",
            f"{run['server_mb']:.0f}" if run["server_mb"] else "-")


def _growth(way: str, found: Runs) -> str:
    """Say as which power of rows a way's cost grows, between its smallest and its largest size."""
    runs = [r for r in found if r["way"] == way]
    if len(runs) < 2:
        return ""
    a, b = runs[0], runs[-1]
    times = math.log(b["rows"] / a["rows"])
    clock, cpu, memory = (math.log(f(b) / f(a)) / times
                          for f in (lambda r: r["wall"], _cpu, lambda r: r["peak_mb"] + r["server_mb"]))
    return (f"- {WAYS[way]}: {clock:.2f} by the clock, {cpu:.2f} by CPU time, {memory:.2f} of peak memory "
            f"({a['rows']:,} to {b['rows']:,} rows).\n")


def _not_run(found: Runs) -> str:
    """Say that the size which is aimed at was not run, and what it would cost at the same cost a row."""
    last = [r for r in found if r["way"] == "slices"][-1:]
    if not last or last[0]["rows"] >= 0.98 * AIM:
        return ""
    minutes = _cpu(last[0]) * AIM / last[0]["rows"] / 60
    return (f"{AIM:,} rows were not run: at the cost of a row in the largest size in slices they take about "
            f"{minutes:.0f} minutes of one core, and whether their peak stays under 3 GB was not seen.\n\n")


def report(found: Runs, load: float, asked: str, sessions_a_client: int) -> str:
    """Write the page of results."""
    rows = [HEAD, ("---",) * len(HEAD), *(_line(r, found) for r in found)]
    table = "\n".join("| " + " | ".join(row) + " |" for row in rows)
    return (
        f"# Derivation by rows and by way\n\nCommand: `python -m bench.derivation {asked}`; "
        f"DuckDB {duckdb.__version__}, {os.cpu_count()} cores, load average {load:.1f} when it began; "
        f"where that is more than the cores, other work ran beside it, and CPU seconds say more than the clock. "
        f"One run of each.\n\n{table}\n\n"
        f"Cost grows as rows to the power\n\n{''.join(_growth(w, found) for w in WAYS)}\n"
        f"{_not_run(found)}Each run is the whole of `rmt-outcomes derive` on a copy of one store of generated rows "
        f"(about {sessions_a_client} sessions a client, and tests, doses, diaries, pauses and events in proportion), "
        f"the interpreter's start and the copying of the store included. Peak: the largest resident memory of the "
        f"command; of the server, which is a process of its own on the same machine, beside it; CPU seconds are of "
        f"both. Whole, DuckDB may take most of the machine's memory; a slice may not take more than its limit. Slices "
        f"are as many as `--engine slices` takes by the size of the largest table.\n\n"
        f"Two cores show no speed-up of a distributed engine: all its workers share them, and what it does beyond the "
        f"SQL (plans, tasks, rows over sockets) is added. What is measured here is that cost, not what more machines "
        f"would bring.\n")
