"""The pages of three invented cohorts as prose, kept so that a change of a page reads as a diff."""

from __future__ import annotations

from pathlib import Path

from tests.report.prose import lines
from tests.report.test_pages import COHORTS, made

HERE = Path(__file__).parent


def kept_at(cohort: str, page: str) -> Path:
    """Where the golden text of a page is kept."""
    return HERE / cohort / page.replace(".html", ".txt")


def golden() -> dict[Path, str]:
    """The text of every page of every cohort, as it is made now."""
    return {kept_at(c, name): "\n".join(lines(page)) + "\n" for c in COHORTS for name, page in made(c).items()}


__all__ = ["HERE", "golden", "kept_at"]
