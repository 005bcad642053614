"""plan.toml as a file: its bytes are hashed as they lie there, and a fault names its line."""

from __future__ import annotations

import hashlib

import pytest

from pipeline.errors import FileRefused
from pipeline.ingest.plan_file import line_of, load_plan, parsed, plan_beside
from tests.conftest import SAMPLE

PLAN = SAMPLE / "plan.toml"


def test_the_hash_is_that_of_the_bytes():
    found = load_plan(PLAN)
    assert found.sha256 == hashlib.sha256(PLAN.read_bytes()).hexdigest()
    assert plan_beside(SAMPLE) == PLAN and plan_beside(SAMPLE.parent) is None


def test_a_mark_of_unicode_and_line_ends_of_windows_are_read():
    data = b"\xef\xbb\xbf" + PLAN.read_bytes().replace(b"\n", b"\r\n")
    found = parsed(data, "plan.toml")
    assert found.plan == load_plan(PLAN).plan and found.sha256 != load_plan(PLAN).sha256


def test_each_fault_names_its_line():
    text = PLAN.read_text(encoding="utf-8").replace('pressure = "mep"', 'pressure = "map"').replace(
        "consented_only = true", 'consented_only = "true"').replace('of = "dose"', 'of = "dosage"').replace(
        'funding = "None."', "")  # fmt: skip
    with pytest.raises(FileRefused) as refused:
        parsed(text.encode(), "plan.toml")
    lines = text.splitlines()
    at = {f.where: f.what for f in refused.value.faults}
    wanted = {"consented_only = \"true\"": "eligibility.consented_only", 'pressure = "map"': "family, entry 3.pressure",
              'of = "dosage"': "family, entry 4.of"}  # fmt: skip
    for line, word in wanted.items():
        assert word in at[f"plan.toml:{lines.index(line) + 1}"]
    assert "'funding' is missing" in at["plan.toml"]
    assert refused.value.exit_code == 3 and all(f.expected and f.now for f in refused.value.faults)
    assert "map" not in str(refused.value) and "dosage" not in str(refused.value)


def test_lines_of_words():
    text = "question = 1\n[estimand]\nsummary = 2\n[[family]]\nof = 3\n[[family]]\nof = 4\n"
    words = ("question", "estimand.summary", "estimand.variable", "family, entry 2.of", "family, entry 2", "funding")
    assert [line_of(text, w) for w in words] == [1, 3, 2, 7, 6, None]


@pytest.mark.parametrize("data", [b"question = ", b"\xff\xfe\x00", b"[estimand\n"])
def test_what_is_no_toml_is_refused_in_words(data):
    with pytest.raises(FileRefused) as refused:
        parsed(data, "plan.toml")
    assert refused.value.faults[0].where == "plan.toml" and refused.value.faults[0].now
