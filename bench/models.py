"""Times the models of one pressure, from rows and from an engine's sums: `python -m bench.models [CLIENTS ...]`.

Rows: the table frames.model read into memory and every model of a review fitted from it (analyse.fits.fit_pressure).
Sums: the same models, the same table as Parquet with an engine in slices, which answers in sums
(analyse.sums_fits.fit_pressure_from_sums). Each run is a process of its own; the made table is on disk before.
"""

# ruff: noqa: T201 - prints its table
from __future__ import annotations

import argparse
import datetime as dt
import json
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import polars as pl

from bench.intake import timed
from pipeline.analyse.fits import PressureModels, fit_pressure
from pipeline.analyse.sums_fits import fit_pressure_from_sums
from pipeline.derive_sums import AtEngine
from pipeline.engines import opened, parse
from pipeline.settings import Settings
from pipeline.simulate.model_frame import simulate_model_frame

RESULTS = Path(__file__).parent / "results"
PIECE = 50_000
#: As many tests as a slice is meant to hold rows.
TESTS_A_SLICE = 1_500_000
QUARTER = "9999Q4"


def make(clients: int, place: Path) -> int:
    """Write the table of so many simulated clients as Parquet files; return its rows."""
    place.mkdir(parents=True)
    rows = 0
    for number, begin in enumerate(range(0, clients, PIECE)):
        piece = simulate_model_frame(min(PIECE, clients - begin), number + 1)
        own = piece.with_columns((pl.lit(f"{number}-") + pl.col("client_key")).alias("client_key"))
        own.write_parquet(place / f"{number}.parquet")
        rows += own.height
    return rows


def told(models: PressureModels) -> dict[str, Any]:
    """What both ways are compared by: models fitted, and the gain at 12 weeks with its standard error."""
    primary = models.fits["primary"]
    assert primary.look is not None
    gain = primary.read(primary.look.gain(12.0))
    assert gain is not None
    return {"models": len(models.fits), "gain": gain.estimate, "error": gain.std_error, "df": gain.df}


def work(way: str, place: Path) -> dict[str, Any]:
    """Fit in this process; the seconds are those of the fits, without the start of the interpreter."""
    begun = time.perf_counter()
    if way == "rows":
        found = told(fit_pressure(pl.read_parquet(place / "frames.model" / "*.parquet"), "mip", Settings()))
    else:
        choice = parse(way)
        assert choice is not None
        with opened(choice, choice.slices, place / "_spill") as engine:
            shutil.copytree(place / "frames.model", place / "split")
            engine.table("frames.model", place / "split")
            at = AtEngine(engine, place / "sums")
            found = told(fit_pressure_from_sums(at, "mip", QUARTER, Settings()))
    return found | {"fit_s": time.perf_counter() - begun}


def main() -> None:
    """Run the sizes in turn, and write the table after each run."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("clients", nargs="*", type=int, default=[10_000, 100_000, 1_000_000])
    words.add_argument("--rows-until", type=int, default=100_000, help="clients up to which the way of rows is run")
    words.add_argument("--worker", nargs=2, metavar=("WAY", "FOLDER"), help=argparse.SUPPRESS)
    given = words.parse_args()
    if given.worker:
        print(json.dumps(work(given.worker[0], Path(given.worker[1]))))
        return
    load, found = os.getloadavg()[0], list[dict[str, Any]]()
    for clients in given.clients:
        with tempfile.TemporaryDirectory(prefix="bench_models_") as name:
            tests = make(clients, Path(name) / "frames.model")
            ways = ["rows"] if clients <= given.rows_until else []
            for way in (*ways, f"slices:{-(-tests // TESTS_A_SLICE)}"):
                run = timed([sys.executable, "-m", "bench.models", "--worker", way, name])
                found.append({"clients": clients, "tests": tests, "way": way, **run})
                print(json.dumps(found[-1]), flush=True)
                write(found, load)


def write(found: list[dict[str, Any]], load: float) -> None:
    """Write the table of what was run."""
    lines = [
        "# Models of one pressure: from rows, and from an engine's sums", "",
        f"Command: `python -m bench.models`; {os.cpu_count()} cores, load average {load:.1f} when it began. One run of "
        "each, every one a process of its own with one thread of linear algebra.", "",
        "| clients | tests | way | models | seconds | CPU s | to rows | peak MB | gain, cmH2O | its standard error |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |"]
    for run in found:
        rows = [r["wall_cpu"] for r in found if r["clients"] == run["clients"] and r["way"] == "rows"]
        to_rows = f"{run['wall_cpu'] / rows[0]:.2f}" if rows else "-"
        lines.append(f"| {run['clients']:,} | {run['tests']:,} | {run['way']} | {run['models']} | {run['fit_s']:.1f} | "
                     f"{run['wall_cpu']:.1f} | {to_rows} | {run['peak_mb']:.0f} | "
                     f"{run['gain']:.9f} | {run['error']:.9f} |")
    lines += ["", "The way of rows fits two models more (a part of the learning curve taken off).", ""]
    stem = RESULTS / f"{dt.date.today().isoformat()}_models"
    stem.with_suffix(".md").write_text("\n".join(lines), encoding="utf-8")


if __name__ == "__main__":
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    main()
