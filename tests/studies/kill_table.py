"""Kill -9 at random moments of a load or a derivation, in real processes: `python -m tests.studies.kill_table`.

Each time the store must hold the state before or the state after, whole; the same command run again must end well and
in the state after; and nothing of the killed run may stay behind. Writes results/kill_table.{csv,md}.
"""

from __future__ import annotations

import argparse
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import polars as pl

from pipeline.store import open_store

RESULTS = Path(__file__).parent / "results"
SAMPLE = Path(__file__).parents[2] / "sample_data"
RECEIVED = "select table_name from duckdb_tables() where schema_name = 'received' order by 1"


def command(*words: str) -> list[str]:
    return [sys.executable, "-m", "pipeline", *words, "--quiet"]


def state(out: Path) -> tuple[tuple[str, int, str], ...]:
    """Name everything that the store's received tables hold, and whether it has derived tables."""
    found = []
    with open_store(out / "store.duckdb", read_only=True) as store:
        for name in store.sql(RECEIVED)["table_name"]:
            # the moment of loading differs from run to run, and nothing else may
            row = "t.batch_id" if name == "batches" else "t"
            (n, mark), = store.sql(f"select count(*) as n, cast(sum(hash(cast({row} as varchar))) as varchar) as mark "
                                   f"from received.{name} as t").rows()
            found.append((str(name), int(n), str(mark)))
        derived = store.sql("select count(*) as n from duckdb_tables() where schema_name = 'frames'")["n"][0]
    return (*found, ("frames", int(derived), ""))


def folders(place: Path) -> tuple[Path, Path]:
    """Make two small folders from the sample: as first exported, and corrected."""
    first, second = place / "first", place / "second"
    for folder in (first, second):
        folder.mkdir()
    for path in sorted(SAMPLE.glob("*.csv")):
        lines = path.read_text(encoding="utf-8").splitlines(keepends=True)[:2500]
        (first / path.name).write_text("".join(lines), encoding="utf-8")
        changed = [line.replace(",mip,1,", ",mip,9,") for line in lines]
        (second / path.name).write_text("".join([*changed[:1], *changed[3:]]), encoding="utf-8")
    return first, second


def killed(words: list[str], after_s: float) -> tuple[bool, float]:
    """Run a command and kill it after so many seconds; return whether it was still running, and the seconds it had."""
    begun = time.perf_counter()
    with subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        try:
            process.wait(timeout=after_s)
        except subprocess.TimeoutExpired:
            process.send_signal(signal.SIGKILL)
            process.wait()
        return process.returncode == -signal.SIGKILL, time.perf_counter() - begun


def timed(words: list[str]) -> float:
    begun = time.perf_counter()
    subprocess.run(words, check=True, capture_output=True)
    return time.perf_counter() - begun


def one(place: Path, what: str, words: list[str], span_s: float, after: tuple, chance: random.Random) -> dict:
    """Kill once in a copy of the store as it was; say what was found."""
    out = place / "out"
    shutil.rmtree(out, ignore_errors=True)
    shutil.copytree(place / "before", out)
    was_killed, seconds = killed(words, chance.uniform(0.0, span_s))
    left = sorted(p.name.replace("store.duckdb", "") for p in out.iterdir() if p.name.startswith("store.duckdb."))
    found = state(out)
    held = "before" if found == state(place / "before") else "after" if found == after else "NEITHER"
    subprocess.run(words, check=True, capture_output=True)
    clean = sorted(p.name for p in out.iterdir() if p.name.startswith("store.duckdb")) == [
        "store.duckdb", "store.duckdb.lock"]
    good = held != "NEITHER" and state(out) == after and clean
    return {"command": what, "killed_after_s": round(seconds, 3), "was_running": was_killed,
            "half_made_copy_left": ".next" in left, "state_found": held, "good_after_running_again": good}


def main() -> None:
    """Run the study and write its table."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--kills", type=int, default=50)
    words.add_argument("--seed", type=int, default=20260408)
    given = words.parse_args()
    chance, rows = random.Random(given.seed), []
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        first, second = folders(place)
        out = place / "out"
        subprocess.run(command("load", str(first), "--out", str(place / "before")), check=True, capture_output=True)
        for what, line in (("load", command("load", str(second), "--out", str(out))),
                           ("derive", command("derive", "--out", str(out)))):
            shutil.rmtree(out, ignore_errors=True)
            shutil.copytree(place / "before", out)
            span_s = 1.05 * timed(line)
            after = state(out)
            wanted = len(rows) + given.kills // 2
            while len(rows) < wanted:
                found = one(place, what, line, span_s, after, chance)
                rows += [found] if found["was_running"] else []  # else it had ended before its moment came
    write(pl.DataFrame(rows), given.kills)


def write(table: pl.DataFrame, kills: int) -> None:
    table.write_csv(RESULTS / "kill_table.csv")
    counts = table.group_by("command", "half_made_copy_left", "state_found").agg(
        kills=pl.len(), good=pl.col("good_after_running_again").sum()).sort(pl.all())
    shown = (counts.columns, ["---"] * counts.width, *counts.rows())
    lines = ["| " + " | ".join(map(str, row)) + " |" for row in shown]
    good = int(table["good_after_running_again"].sum())
    (RESULTS / "kill_table.md").write_text(
        f"# kill -9 at {kills} random moments\n\nCommand: `python -m tests.studies.kill_table --kills {kills}`. "
        f"{good} of {table.height} times the store held a whole state, and the command run again ended in the new one "
        "with nothing left behind.\n\n" + "\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
