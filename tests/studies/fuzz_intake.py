"""Fuzzes the intake with spoilt files: `python -m tests.studies.fuzz_intake [--files N]`.

Each file is walked; every tenth is also read by the database, and must be judged alike. Writes results/fuzz_intake.md.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

from pipeline.store import open_store
from tests.fuzz.judging import complaints

RESULTS = Path(__file__).parent / "results"
BLOCK = 250


def block(first: int) -> tuple[Counter[str], list[str]]:
    """Judge the files of BLOCK seeds; return how often each outcome came, and the complaints."""
    kinds, wrong = Counter[str](), list[str]()
    with tempfile.TemporaryDirectory() as folder, open_store(":memory:") as store:
        for seed in range(first, first + BLOCK):
            said, kind = complaints(seed, Path(folder), store, ("walk", "scan")[: 1 + (seed % 10 == 0)])
            kinds[kind] += 1
            wrong += said
    return kinds, wrong


def main() -> None:
    """Run the study and write its table."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--files", type=int, default=20_000, help="rounded up to a multiple of the block")
    words.add_argument("--processes", type=int, default=2)
    given = words.parse_args()
    kinds, wrong = Counter[str](), list[str]()
    with ProcessPoolExecutor(given.processes, mp_context=get_context("spawn")) as pool:
        for found, said in pool.map(block, range(0, given.files, BLOCK)):
            kinds, wrong = kinds + found, wrong + said
            sys.stderr.write(f"{kinds.total()} files {' '.join(said)}\n")
    rows = "\n".join(f"| {kind} | {n} |" for kind, n in sorted(kinds.items()))
    told = "\n".join(f"- {text}" for text in wrong) or "No complaint."
    (RESULTS / "fuzz_intake.md").write_text(
        f"# Spoilt input files\n\nCommand: `python -m tests.studies.fuzz_intake --files {kinds.total()}`. A complaint "
        "is a trace of Python, a row neither kept nor set aside, a planted identifier in a message or a kept table, or "
        f"a difference between the walk and the database.\n\n| outcome | files |\n|---|---|\n{rows}\n\n{told}\n",
        encoding="utf-8")


if __name__ == "__main__":
    main()
