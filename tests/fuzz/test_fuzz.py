"""A slice of the fuzzing of `tests.studies.fuzz_intake`: no trace of Python, no row lost, no identifier shown."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.store import open_store
from tests.fuzz.judging import complaints
from tests.fuzz.mutations import PLANTED, spoilt

SEEDS = range(300)


@pytest.mark.slow
def test_no_trace_no_loss_no_identifier(tmp_path: Path) -> None:
    with open_store(":memory:") as store:
        found = [complaints(seed, tmp_path, store, ("walk", "scan")[: 1 + (seed % 6 == 0)]) for seed in SEEDS]
    assert [text for wrong, _ in found for text in wrong] == []
    kinds = [kind for _, kind in found]
    assert kinds.count("judged") > 60 and kinds.count("IdentifierFound") > 20


def test_the_mutations_do_plant_and_do_spoil() -> None:
    files = [spoilt(seed)[1] for seed in SEEDS]
    assert sum(any(token.encode() in data for token in PLANTED) for data in files) > 40 and len(set(files)) > 290
