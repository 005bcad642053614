"""Does every part of the sample get a shared edition, and how much of it is left?

    python -m tests.studies.small_parts [part ...] writes tests/studies/results/small_parts.md

A part is every k-th client from the o-th on (`5.2`), or the first n clients (`n22`). Its edition of one quarter is made
as a review makes it; "refused" is exit 6, where the audit finds a hidden count that can be derived.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import polars as pl

from pipeline.errors import AuditFailed
from tests import some_people
from tests.small_services import load, one_quarter
from tests.studies.tables import as_text
from tests.test_parts_of_the_sample import LENIENT, QUARTER

RESULTS = Path(__file__).parent / "results"
ALL = [f"{k}.{o}" for k in (3, 4, 5, 7) for o in range(k)] + [f"n{n}" for n in (12, 16, 22, 30)]


def keys(part: str) -> list[str]:
    """The client keys of a part."""
    if part.startswith("n"):
        return some_people.keys()[: int(part[1:])]
    step, start = part.split(".")
    return some_people.keys()[int(start) :: int(step)]


def one(part: str) -> dict[str, object]:
    """One row of the table."""
    mine, began = keys(part), time.perf_counter()
    row: dict[str, object] = {"part": part, "people": len(mine)}
    with tempfile.TemporaryDirectory() as folder:
        base = Path(folder)
        load(some_people.write(some_people.tables_of(mine), base / "in"), base / "out", LENIENT)
        try:
            written = one_quarter(base / "out", QUARTER)
        except AuditFailed:
            return row | {"edition": "refused"}
    counts = [r for r in written.results.rows if r.klass == "aggregate" and (r.n is not None or r.n_people is not None)]
    shared = written.shared.rows.rows
    return row | {
        "edition": "made", "counts": len(counts), "counts shown": sum(r.n is not None or r.n_people is not None
                                                                     for r in shared),
        "numbers shown": sum(r.value is not None for r in shared),
        "groups put together": sum(r.note.startswith("together: ") for r in shared),
        "seconds": round(time.perf_counter() - began),
    }  # fmt: skip


def main(parts: list[str]) -> None:
    """Write the table."""
    rows = [one(part) for part in parts or ALL]
    words = " ".join(["python -m tests.studies.small_parts", *parts])
    RESULTS.mkdir(exist_ok=True)
    head = f"# Parts of the sample as small services\n\n{words}\n\n"
    (RESULTS / "small_parts.md").write_text(head + as_text(pl.DataFrame(rows)) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
