"""Every planted client of the sample carries its state and its reason; the list asks, and never orders."""

from __future__ import annotations

import json

import pytest

from tests.conftest import SAMPLE

KINDS = json.loads((SAMPLE / "truth.json").read_text(encoding="utf-8"))["kinds"]
PLANTED = [(kind, key) for kind, facts in KINDS.items() for key in facts["client_keys"]]


@pytest.fixture(scope="module")
def rows(sample_review):
    out, _ = sample_review
    results = json.loads((out / "internal" / "results.json").read_text(encoding="utf-8"))["results"]
    return [r for r in results if r["report"] == "stalled"]


def of(rows, statistic, group):
    return [r for r in rows if r["statistic"] == statistic and r["group"] == group]


@pytest.mark.parametrize(("kind", "key"), PLANTED)
def test_a_planted_client_has_its_state_and_reason(rows, kind, key):
    group = f"{key};pressure=mip"
    assert of(rows, "state", group)[0]["text"] in KINDS[kind]["expected_states"]
    found = {r["method"] for r in of(rows, "reason", group) if r["note"] == "found"}
    assert KINDS[kind]["expected_reason"] in found | {""}


def test_the_states_add_up(rows):
    for pressure in ("mip", "mep"):
        total = of(rows, "people", f"pressure={pressure}")[0]["n"]
        parts = [r["n"] for r in rows if r["section"] == "how_many" and r["statistic"] == "people"
                 and r["group"].startswith(f"pressure={pressure};")]
        assert len(parts) == 6 and sum(parts) == total


def test_questions_ask(rows):
    asked = [r for r in rows if r["statistic"] == "question"]
    assert asked and all(r["text"].endswith("?") and r["at"] <= 3 for r in asked)
    words = " ".join(r["text"].lower() for r in asked)
    assert not any(word in words for word in ("increase", "raise", "higher load", "must", "should"))


def test_only_the_falling_and_the_stalled_are_asked_about(rows):
    state = {r["group"]: r["text"] for r in rows if r["statistic"] == "state"}
    assert {state[r["group"]] for r in rows if r["statistic"] == "question"} <= {"falling", "stalled"}


def test_each_client_has_one_rank_in_order_of_state(rows):
    order = ["falling", "stalled", "can't tell yet", "levelled off", "improving", "not assessable"]
    state = {r["group"]: order.index(r["text"]) for r in rows if r["statistic"] == "state"}
    for pressure in ("mip", "mep"):
        ranked = sorted((r["value"], state[r["group"]]) for r in rows
                        if r["statistic"] == "order" and r["group"].endswith(pressure))
        assert [s for _, s in ranked] == sorted(s for _, s in ranked)
