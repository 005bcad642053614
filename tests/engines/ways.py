"""The three ways to run the same SQL over one store, each leaving its tables as folders of Parquet."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from bench.engines_rows import add_rows
from pipeline.derive import DeriveSummary, Progress, derive, sql_files
from pipeline.derive_elsewhere import derive_elsewhere, open_desk
from pipeline.derive_sums import AtEngine
from pipeline.engines import opened, parse
from pipeline.ingest import read_folder
from pipeline.settings import Settings
from pipeline.store import Store, open_store
from pipeline.validate import LoadMeta, check, load

SAMPLE = Path(__file__).parents[2] / "sample_data"
META = LoadMeta("2026-10-01T00:00:00+00:00", "test", "{}")


@contextmanager
def cohort(sessions: int) -> Iterator[Store]:
    """A store with the sample cohort and about `sessions` generated sessions beside it."""
    with open_store(":memory:") as store:
        load(store, check(read_folder(SAMPLE), Settings()), META)
        add_rows(store, sessions)
        yield store


def whole(store: Store, folder: Path) -> DeriveSummary:
    """The default: in the store, whole; every table is then written out."""
    summary = derive(store, Settings())
    for name in sql_files():
        (folder / name).mkdir(parents=True)
        store.write_parquet(name, folder / name / "rows.parquet")
    return summary


def elsewhere(
    store: Store, folder: Path, word: str, progress: Progress | None = None,
    then: Callable[[AtEngine], None] | None = None,
) -> DeriveSummary:
    """Outside the store, by the engine of a word such as "slices:16"; what is finished in `folder` is gone on from.

    then: called with the engine while it still holds the tables.
    """
    choice = parse(word)
    assert choice is not None
    with opened(choice, choice.slices, folder / "_spill") as engine:
        desk = open_desk(store, folder, choice.label(choice.slices), Settings(), None)
        made = derive_elsewhere(store, Settings(), engine, desk, progress=progress)
        if then is not None:
            then(AtEngine(engine, folder / "_sums"))
        return made


def tables(*, in_slices: bool = False) -> list[str]:
    """Every table that SQL makes; of slices without those of sums, which have a row more for each slice."""
    return sorted(n for n, text in sql_files().items() if not (in_slices and "-- sums:" in text))
