"""Writes a simulated cohort as files: CSV or Parquet, and truth.json beside them."""

from __future__ import annotations

import json
from pathlib import Path

from pipeline.simulate.cohort import Cohort


def write_truth(cohort: Cohort, folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    text = json.dumps(cohort.truth, indent=1, ensure_ascii=False) + "\n"
    (folder / "truth.json").write_text(text, encoding="utf-8", newline="\n")


def write_csv(cohort: Cohort, folder: Path) -> None:
    """Write one CSV a table: UTF-8, line feeds, an empty cell for what was not recorded."""
    write_truth(cohort, folder)
    for name, frame in cohort.tables.items():
        frame.write_csv(folder / f"{name}.csv", line_terminator="\n")


def write_parquet(cohort: Cohort, folder: Path) -> None:
    """Write the same rows as Parquet, every column as text, so that planted slips of the pen stay what they are."""
    write_truth(cohort, folder)
    for name, frame in cohort.tables.items():
        frame.write_parquet(folder / f"{name}.parquet")


def put(path: Path, data: bytes) -> None:
    """Write one file of an export, making its folder."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
