"""What many tests share: one whole review of the sample cohort, and one browser."""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does, before anything imports NumPy

import fcntl
import pickle
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.browser.chromium import find
from tests.browser.opened import ABSENT, opened

if TYPE_CHECKING:
    from playwright.sync_api import Browser

SAMPLE = Path(__file__).parents[1] / "sample_data"


def once_for_all(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], Any]) -> Any:
    """What `make` gives for a folder of this name: made by the first test process that asks, read by the others.

    The processes of pytest-xdist have folders of their own in one; what is kept lies beside those. Tests copy what
    they change.
    """
    mine = factory.getbasetemp()
    shared = mine.parent if "PYTEST_XDIST_WORKER" in os.environ else mine
    kept = shared / f"{name}.pickle"
    with (shared / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not kept.exists():
            (shared / name).mkdir()
            kept.write_bytes(pickle.dumps(make(shared / name)))
    return pickle.loads(kept.read_bytes())


@pytest.fixture(scope="session")
def sample_review(tmp_path_factory: pytest.TempPathFactory):
    """Run `review` on the sample cohort once; give (folder of the outputs, summary)."""
    def make(folder: Path) -> Any:
        from pipeline import stages
        out = folder / "out"
        return out, stages.review(SAMPLE, out, None, None, lambda step, done, total: None)
    return once_for_all(tmp_path_factory, "sample_review", make)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A headless Chromium; without one the test is skipped, and with CI set it fails."""
    if find() is None:
        if os.environ.get("CI"):
            pytest.fail(ABSENT + " With CI set this is a failure.")
        pytest.skip(ABSENT)
    with opened() as started:
        yield started
