"""All engines on the same data in one run: `python -m bench.mixed DATE` (words after it keep only those cases).

Each timing is a process of its own; its peak memory is the kernel's. R rows are left out, and said so, when Rscript or
its packages lme4, lmerTest, pbkrtest are missing. Writes bench/results/DATE_mixed.md and .json.
"""

# ruff: noqa: T201 - it tells its progress
from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
from dataclasses import asdict, dataclass
from pathlib import Path

from bench import million
from bench.cohort import MEAN, MEAN_THREE_LEVELS, cohort

RESULTS = Path(__file__).parent / "results"
LMER = Path(__file__).parent / "r" / "lmer.R"
CLIENT, SITE = "(time12 | client_key)", "(1 | site)"
ONE_THREAD = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}


@dataclass(frozen=True)
class Case:
    """One line of the table. at_least: ratio to reach against an engine; times: how often a single fit counts."""

    name: str
    clients: int
    kind: str
    repeats: tuple[int, int, int]  # ours, MixedLM, lmer; 0 leaves the engine out
    at_least: dict[str, float]
    lmer_df: str = "kenward-roger"
    times: int = 1


CASES = (
    Case("240 clients, fit + KR", 240, "fit", (10, 10, 5), {"mixedlm": 50, "lmer": 3}),
    Case("1,000 clients, fit + KR", 1_000, "fit", (5, 3, 3), {"mixedlm": 50, "lmer": 5}),
    Case("1,000 clients against lmer's fit alone", 1_000, "fit", (5, 3, 3), {"mixedlm": 100}, "none"),
    Case("50,000 clients, fit + KR from rows", 50_000, "fit", (2, 1, 1), {"mixedlm": 60, "lmer": 8}, "none"),
    Case("1,000,000 clients from SQL sums", 1_000_000, "million", (1, 0, 0), {}),
    Case("three levels with KR, 1,000 clients", 1_000, "three levels", (5, 0, 1), {"lmer": 500}),
    Case("1,000 leave-one-out refits", 1_000, "leave one out", (1, 2, 0), {"mixedlm": 200}, times=1_000),
)


@dataclass(frozen=True)
class Timing:
    """One engine on one case: least seconds of the repeats (neighbours slow a shared machine), peak memory in MB, what
    it found; a note when it did not run."""

    case: str
    engine: str
    seconds: float | None = None
    cpu_seconds: float | None = None
    memory_mb: float | None = None
    found: dict[str, float] | None = None
    note: str = ""


def measured(case: Case, engine: str, command: list[str], times: int = 1) -> Timing:
    """Run one command that prints a line of JSON; wait4 gives the memory of that process alone."""
    with tempfile.TemporaryFile("w+") as out, tempfile.TemporaryFile("w+") as err:
        process = subprocess.Popen(command, stdout=out, stderr=err, env=ONE_THREAD)
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        out.seek(0)
        err.seek(0)
        if process.returncode:
            return Timing(case.name, engine, note=f"failed: {err.read().strip().splitlines()[-1][:120]}")
        found = json.loads(out.read().strip().splitlines()[-1])
    seconds, cpu = (min(found.pop(name)) * times for name in ("seconds", "cpu_seconds"))
    note = f"{times:,} x one fit" if times > 1 else ""
    print(f"{case.name}: {engine} {seconds:.4g} s wall, {cpu:.4g} s CPU, {usage.ru_maxrss / 1024:.0f} MB", flush=True)
    return Timing(case.name, engine, seconds, cpu, usage.ru_maxrss / 1024, found, note)


def run(case: Case, folder: Path) -> list[Timing]:
    """All engines on one case."""
    python = [sys.executable, "-W", "ignore", "-m"]
    if case.kind == "million":
        million.make(folder / "million.duckdb", case.clients)
        return [measured(case, "ours", [*python, "bench.million", str(folder / "million.duckdb")])]
    rows, parquet, csv = cohort(case.clients, case.clients), folder / "rows.parquet", folder / "rows.csv"
    rows.write_parquet(parquet)
    rows.write_csv(csv)
    ours, mixedlm, lmer = map(str, case.repeats)
    found = [measured(case, "ours", [*python, "bench.engines", "ours", case.kind, str(parquet), ours])]
    if case.repeats[1]:
        words = [*python, "bench.engines", "mixedlm", case.kind, str(parquet), mixedlm]
        found.append(measured(case, "mixedlm", words, case.times))
    if case.repeats[2] and has_r():
        three = case.kind == "three levels"
        random, mean = (f"{CLIENT} + {SITE}", MEAN_THREE_LEVELS) if three else (CLIENT, MEAN)
        words = ["Rscript", str(LMER), str(csv), random, case.lmer_df, lmer, mean]
        found.append(measured(case, "lmer", words))
    elif case.repeats[2]:
        found.append(Timing(case.name, "lmer", note="R with lme4, lmerTest and pbkrtest is not installed"))
    return found


def has_r() -> bool:
    """Whether Rscript and the three packages are there."""
    if not shutil.which("Rscript"):
        return False
    test = "quit(status = !all(sapply(c('lme4', 'lmerTest', 'pbkrtest'), requireNamespace, quietly = TRUE)))"
    return subprocess.run(["Rscript", "-e", test], capture_output=True).returncode == 0


def cost(timing: Timing) -> str:
    """Wall and CPU seconds and memory of one engine, or why there are none."""
    if timing.seconds is None:
        return timing.note
    note = f" ({timing.note})" if timing.note else ""
    return f"{timing.seconds:.3g} s, CPU {timing.cpu_seconds:.3g} s, {timing.memory_mb:.0f} MB{note}"


def line(case: Case, timings: list[Timing]) -> str:
    """One row of Markdown."""
    by = {t.engine: t for t in timings if t.case == case.name}
    ours, cells = by["ours"], [case.name]
    cells.append(cost(ours))
    for engine in ("mixedlm", "lmer"):
        other = by.get(engine)
        if other is None or other.seconds is None:
            cells += [other.note if other else "", ""]
            continue
        cells.append(cost(other))
        target = f" (asked {case.at_least[engine]:g}x)" if engine in case.at_least else ""
        cells.append(f"{other.cpu_seconds / ours.cpu_seconds:.1f}x{target}" if ours.cpu_seconds else "")
    return "| " + " | ".join(cells) + " |"


def main(date: str, *only: str) -> None:
    """Run the cases and write the dated table and JSON."""
    cases = [case for case in CASES if not only or any(word in case.name for word in only)]
    timings: list[Timing] = []
    for case in cases:
        with tempfile.TemporaryDirectory() as folder:
            timings += run(case, Path(folder))
    RESULTS.mkdir(exist_ok=True)
    stem = f"{date}_mixed" + ("_part" if only else "")
    (RESULTS / f"{stem}.json").write_text(json.dumps([asdict(t) for t in timings], indent=1) + "\n", encoding="utf-8")
    load = ", ".join(f"{x:.1f}" for x in os.getloadavg())
    text = [
        "# Mixed-model engines on the same data",
        f"`python -m bench.mixed {' '.join([date, *only])}`: least of the repeats, wall clock; {os.cpu_count()} "
        f"cores, one thread each (DuckDB: two); load average at the end {load}. "
        "Each engine in its own process; MB is its peak. Ratios are of CPU seconds, which neighbours disturb least.",
        "Data: bench/cohort.py, 17 mean terms, intercept and slope per client. Ours always includes Kenward-Roger; "
        "MixedLM is statsmodels as it comes (z only); lmer is lme4, with pbkrtest's Kenward-Roger unless said.",
        "| case | ours | MixedLM | MixedLM / ours | lmer | lmer / ours |\n|---|---|---|---|---|---|\n"
        + "\n".join(line(case, timings) for case in cases),
    ]
    (RESULTS / f"{stem}.md").write_text("\n\n".join(text) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:])
