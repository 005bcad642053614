"""One browser and one set of pages for all browser tests."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.browser.chromium import find
from tests.browser.opened import ABSENT, opened

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    if find() is None:
        if os.environ.get("CI"):
            pytest.fail(ABSENT + " With CI set this is a failure.")
        pytest.skip(ABSENT)
    with opened() as started:
        yield started


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Both editions of the invented cohort, written as a review writes them."""
    from pipeline.report import write
    from tests.report import cohorts

    base = tmp_path_factory.mktemp("pages")
    write(cohorts.full(), base / "internal", cohorts.meta("internal"))
    write(cohorts.suppressed(), base / "shared", cohorts.meta("shared"))
    write(cohorts.tiny(), base / "tiny", cohorts.meta("internal"))
    return base
