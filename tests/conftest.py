"""One whole review of the sample cohort, shared by every test that reads its outputs."""

from __future__ import annotations

from pathlib import Path

import pytest

SAMPLE = Path(__file__).parents[1] / "sample_data"


@pytest.fixture(scope="session")
def sample_review(tmp_path_factory: pytest.TempPathFactory):
    """Run `review` on the sample cohort once; give (folder of the outputs, summary)."""
    from pipeline import stages
    out = tmp_path_factory.mktemp("review") / "out"
    summary = stages.review(SAMPLE, out, None, None, lambda step, done, total: None)
    return out, summary
