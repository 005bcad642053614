"""One set of pages for all browser tests."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Both editions of the invented cohort, written as a review writes them."""
    from pipeline.report import write
    from pipeline.report.editions import one_page
    from pipeline.report.render import put_file
    from pipeline.report.views import ONE_PAGE
    from tests.only_sums import of_sums
    from tests.report import cohorts

    base = tmp_path_factory.mktemp("pages")
    write(cohorts.full(), base / "internal", cohorts.meta("internal"))
    write(cohorts.suppressed(), base / "shared", cohorts.meta("shared"))
    write(cohorts.tiny(), base / "tiny", cohorts.meta("internal"))
    for path in write(cohorts.full(), base / "german", replace(cohorts.meta("internal"), language="de")):
        if path.name not in ("quarter.html", "protocols.html", "stalled.html"):
            path.unlink()
    given = cohorts.meta("shared")
    write(of_sums(cohorts.full()), base / "sums", replace(given, only_sums=True))
    for place, results, meta in (("given", cohorts.full(), given), ("small", cohorts.tiny(), given),
                                 ("german", cohorts.full(), replace(given, language="de"))):
        for name in ONE_PAGE:
            put_file(base / place / f"{name}.html", one_page(name, results, meta))
    return base
