"""What many tests share: one whole review of the sample cohort, and one browser."""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does, before anything imports NumPy

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.browser.chromium import find
from tests.browser.opened import ABSENT, opened

if TYPE_CHECKING:
    from playwright.sync_api import Browser

SAMPLE = Path(__file__).parents[1] / "sample_data"


@pytest.fixture(scope="session")
def sample_review(tmp_path_factory: pytest.TempPathFactory):
    """Run `review` on the sample cohort once; give (folder of the outputs, summary)."""
    from pipeline import stages
    out = tmp_path_factory.mktemp("review") / "out"
    summary = stages.review(SAMPLE, out, None, None, lambda step, done, total: None)
    return out, summary


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A headless Chromium; without one the test is skipped, and with CI set it fails."""
    if find() is None:
        if os.environ.get("CI"):
            pytest.fail(ABSENT + " With CI set this is a failure.")
        pytest.skip(ABSENT)
    with opened() as started:
        yield started
