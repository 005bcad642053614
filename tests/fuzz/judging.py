"""Takes one spoilt file through intake and says what is wrong with the outcome (nothing, if all is well)."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import RmtError
from pipeline.ingest import Intake, RawTable
from pipeline.ingest.csv_file import read_csv
from pipeline.settings import Settings
from pipeline.store import Store
from pipeline.validate import Verdict, blocks, check
from tests.fuzz.mutations import PLANTED, spoilt

LENIENT = Settings(set_aside_max_pct=100.0)


@dataclass(frozen=True)
class Outcome:
    """`kind`: 'judged' or the class of the refusal. `said`: all that a user would see or a store keep."""

    kind: str
    said: str
    n_read: int = 0
    n_kept: int = 0
    n_aside: int = 0


def _judged(verdict: Verdict, store: Store) -> Outcome:
    (file,) = verdict.files
    kept = store.sql(f"select * from {file.relation}") if file.relation else file.kept
    said = [b.text for b in blocks(file.set_aside)] + [str(kept.rows()), str(file.set_aside.rows()),
                                                       str(file.cells.rows()), str(file.unknown_columns)]
    return Outcome("judged", "\n".join(said), file.rows_read, kept.height, file.rows_set_aside)


def outcome(path: Path, store: Store, scan_from_bytes: int) -> Outcome:
    """Read and judge one file. Only the project's own errors are an outcome; any other is raised on."""
    try:
        raw: RawTable = read_csv(path, scan_from_bytes=scan_from_bytes)
        return _judged(check(Intake((raw,), (), ()), LENIENT, store), store)
    except RmtError as fault:
        return Outcome(type(fault).__name__, str(fault))


WAYS = {"walk": 1 << 60, "scan": 0}


def complaints(
    seed: int, folder: Path, store: Store, ways: tuple[str, ...] = ("walk", "scan")
) -> tuple[list[str], str]:
    """Say what is wrong with the outcomes of the file of a seed, walked and read by the database; and their kind."""
    name, data, _ = spoilt(seed)
    path = folder / f"{name}.csv"
    path.write_bytes(data)
    found, wrong = [], []
    for way in ways:
        try:
            one = outcome(path, store, WAYS[way])
        except Exception as fault:
            wrong.append(f"seed {seed} {way}: {type(fault).__name__}")
            continue
        found.append((one.kind, one.n_read, one.n_kept, one.n_aside))
        if one.n_kept + one.n_aside != one.n_read:
            wrong.append(f"seed {seed} {way}: {one.n_kept} + {one.n_aside} are not {one.n_read}")
        wrong += [f"seed {seed} {way}: shows {token[:3]}..." for token in PLANTED if token in one.said]
    if len(set(found)) > 1:
        wrong.append(f"seed {seed}: walked {found[0]}, scanned {found[1]}")
    return wrong, found[0][0] if found else "trace"
