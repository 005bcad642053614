"""Fuzzes the intake with spoilt files: `python -m tests.studies.fuzz_intake [--files N]`.

Each file is walked; every tenth is also read by the database, and must be judged alike. Writes results/fuzz_intake.md.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from pipeline.store import open_store
from tests.fuzz.judging import complaints

RESULTS = Path(__file__).parent / "results"


def main() -> None:
    """Run the study and write its table."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--files", type=int, default=20_000)
    given = words.parse_args()
    kinds, wrong, begun = Counter[str](), list[str](), time.perf_counter()
    with tempfile.TemporaryDirectory() as folder, open_store(":memory:") as store:
        for seed in range(given.files):
            said, kind = complaints(seed, Path(folder), store, ("walk", "scan")[: 1 + (seed % 10 == 0)])
            kinds[kind] += 1
            wrong += said
            if seed % 1000 == 999:
                sys.stderr.write(f"{seed + 1} files, {len(wrong)} complaints, {time.perf_counter() - begun:.0f} s\n")
    rows = "\n".join(f"| {kind} | {n} |" for kind, n in sorted(kinds.items()))
    told = "\n".join(f"- {text}" for text in wrong) or "No complaint."
    (RESULTS / "fuzz_intake.md").write_text(
        f"# Spoilt input files\n\nCommand: `python -m tests.studies.fuzz_intake --files {given.files}`. A complaint is "
        "a trace of Python, a row neither kept nor set aside, a planted identifier in a message or a kept table, or a "
        f"difference between the walk and the database.\n\n| outcome | files |\n|---|---|\n{rows}\n\n{told}\n",
        encoding="utf-8")


if __name__ == "__main__":
    main()
