"""A slice of the gate's corpus, held to the aims of the whole (results/gate_classes.md)."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.identity.classes import CLASSES, FREE_TEXT
from tests.studies import gate_corpus


@pytest.fixture(scope="module")
def found() -> pl.DataFrame:
    return gate_corpus.scored(240, 20260925)


def share(found: pl.DataFrame, mode: str) -> float:
    return float(found.filter(pl.col("mode") == mode)["is_found"].mean())


def test_the_aims_hold(found: pl.DataFrame) -> None:
    assert share(found, "heading and value") == 1.0
    assert share(found, "value only") >= 0.98
    assert share(found, "two cells") == 1.0
    assert share(found, "innocent") < 0.01


def test_every_class_is_planted_under_a_telling_heading_and_found(found: pl.DataFrame) -> None:
    planted = set(found.filter(pl.col("klass") != "")["klass"])
    for _, kinds in CLASSES.values():
        assert planted.intersection(kinds)
    assert FREE_TEXT in planted


def test_the_corpus_tells_a_blind_gate(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gate_corpus, "findings", lambda *_: [])
    assert not gate_corpus.scored(40, 1)["is_found"].any()
