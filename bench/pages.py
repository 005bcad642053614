"""How long each page takes to make, beside the analysis, and how heavy it is: `python -m bench.pages`.

The sample and a simulated cohort of 2,000 clients go through the whole review; then each page is made alone from the
stored results in a fresh process (imports not counted), the best of the repeats. A worklist of 5,000 rows is made from
the larger cohort by giving its clients many keys.
"""

# ruff: noqa: T201 - prints its table
from __future__ import annotations

import argparse
import datetime as dt
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

RESULTS = Path(__file__).parent / "results"
SAMPLE = Path(__file__).parents[1] / "sample_data"
SECONDS, MEGABYTES, CLIENTS, LONG = 3.0, 1.5, 2000, 5000


def said(*words: str) -> Any:
    """Run a command of this Python that answers in JSON."""
    done = subprocess.run([sys.executable, "-m", *words], capture_output=True, text=True, check=False)
    if not done.stdout.startswith(("{", "[")):
        raise SystemExit(done.stderr)
    return json.loads(done.stdout)


def simulated(folder: Path, clients: int) -> Path:
    """Write a cohort of so many clients."""
    from pipeline.simulate.cohort import generate
    from pipeline.simulate.scenario import Scenario
    from pipeline.simulate.write import write_csv
    write_csv(generate(scenario=Scenario(n_clients=clients)), folder)
    return folder


def measured(folder: Path, out: Path, repeats: int) -> dict[str, Any]:
    """Review a folder; then each page alone."""
    stages = said("pipeline", "review", str(folder), "--out", str(out), "--json")["seconds"]
    runs = [said("bench.pages_worker", str(out)) for _ in range(repeats)]
    return {"stages": stages, "pages": [min(same, key=lambda r: r["seconds"]) for same in zip(*runs, strict=True)]}


def lines(name: str, found: dict[str, Any]) -> list[str]:
    """Table lines of one cohort."""
    analysis = found["stages"]["analyse"]
    return [f"| {name} | {p['edition']}/{p['page']} | {p['seconds']:.2f} | {p['cpu']:.2f} | "
            f"{p['seconds'] / analysis:.2f} | {p['bytes'] / 1e6:.2f} | {p['charts']} | {p['peak_mb']:.0f} |"
            for p in found["pages"]]


def report(found: dict[str, Any], long_list: dict[str, Any], load: float, repeats: int) -> str:
    """The dated table with its verdict."""
    slowest = max(p["seconds"] for f in found.values() for p in f["pages"])
    busiest = max(p["cpu"] for f in found.values() for p in f["pages"])
    heaviest = max(p["bytes"] for f in found.values() for p in f["pages"]) / 1e6
    stages = "; ".join(f"{name}: " + ", ".join(f"{s} {t:.1f}" for s, t in f["stages"].items())
                       for name, f in found.items())
    rows = "\n".join(line for name, f in found.items() for line in lines(name, f))
    return (
        f"# Pages: seconds to make and weight\n\nCommand: `python -m bench.pages --repeats {repeats}`; "
        f"{os.cpu_count()} cores, load average {load:.1f} when it began. Each page alone in a process of its own from "
        f"the stored results, imports not counted, chart engine's start counted; the best of {repeats}.\n\n"
        "| clients | page | seconds | CPU seconds | of the analysis | MB | drawings | peak memory, MB |\n"
        f"|---|---|---|---|---|---|---|---|\n{rows}\n\n"
        f"Aims: each page under {SECONDS:g} s (slowest {slowest:.2f}: {'met' if slowest < SECONDS else 'not met'}; "
        f"most CPU {busiest:.2f}), "
        f"under {MEGABYTES:g} MB (heaviest {heaviest:.2f}: {'met' if heaviest < MEGABYTES else 'not met'}). "
        f"Seconds of the stages of the whole review, by the wall clock: {stages}.\n\n"
        f"A worklist of {long_list['rows']:,} rows: {long_list['seconds']:.2f} s ({long_list['cpu']:.2f} of CPU, peak "
        f"{long_list['peak_mb']:.0f} MB), {long_list['bytes'] / 1e6:.2f} MB, "
        f"{long_list['cards']} cards with panels. How filter and sort answer there: "
        f"`tests/browser/test_long_worklist.py`.\n")


def main() -> None:
    """Measure both cohorts and write the table."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--repeats", type=int, default=3)
    given, load, found = words.parse_args(), os.getloadavg()[0], {}
    with tempfile.TemporaryDirectory(prefix="bench_pages_") as place:
        base = Path(place)
        found["sample (420)"] = measured(SAMPLE, base / "sample", given.repeats)
        found[f"{CLIENTS:,}"] = measured(simulated(base / "data", CLIENTS), base / "large", given.repeats)
        long_list = said("bench.pages_worker", str(base / "large"), "--long", str(LONG))
    stem = RESULTS / f"{dt.date.today().isoformat()}_pages"
    stem.with_suffix(".json").write_text(json.dumps({**found, "long": long_list}, indent=1) + "\n", encoding="utf-8")
    stem.with_suffix(".md").write_text(report(found, long_list, load, given.repeats), encoding="utf-8")
    print(report(found, long_list, load, given.repeats))


if __name__ == "__main__":
    main()
