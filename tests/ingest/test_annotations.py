"""annotations.toml: every fault at once, words that look identifying refused, nothing of them shown."""

from pathlib import Path

import pytest

from pipeline.contract.annotations import MEASURES
from pipeline.errors import FileRefused, IdentifierFound
from pipeline.identity.gate_sentences import sentence_kinds
from pipeline.ingest.annotations import read_annotations

SAMPLE = Path(__file__).parents[2] / "sample_data"


def read(tmp_path, text):
    (tmp_path / "annotations.toml").write_text(text, encoding="utf-8")
    return read_annotations(tmp_path)


def test_no_file_is_no_fault(tmp_path):
    assert read_annotations(tmp_path) is None


def test_an_empty_file_holds_nothing(tmp_path):
    assert read(tmp_path, "") == ()


def test_the_sample_is_read_in_the_order_of_days():
    found = read_annotations(SAMPLE)
    assert found and [a.on_day for a in found] == sorted(a.on_day for a in found)
    assert {a.kind for a in found} == {"note", "decision"} and any(a.sites for a in found)
    assert {a.measure for a in found if a.measure} <= set(MEASURES)


def test_every_fault_is_told_at_once_and_no_word_of_the_file(tmp_path):
    wrong = """
    [[note]]
    on = "2026-13-01"
    text = ""
    secretly = 1
    [[decision]]
    on = 2026-07-01
    text = "ok"
    of_quarter = "Q2"
    measure = "guesswork"
    sites = "mill"
    [[opinion]]
    text = "hidden words"
    """
    with pytest.raises(FileRefused) as caught:
        read(tmp_path, wrong)
    said = caught.value.text
    assert len(caught.value.faults) == 7
    for part in ("note 1: 'on'", "note 1: 'text'", "note 1: an entry has no 'secretly'", "decision 1: 'of_quarter'",
                 "decision 1: 'measure'", "decision 1: 'sites'", "[[note]] and [[decision]]"):
        assert part in said
    assert "guesswork" not in said and "hidden words" not in said and "2026-13-01" not in said


def test_what_is_no_toml_is_refused(tmp_path):
    with pytest.raises(FileRefused, match="TOML"):
        read(tmp_path, "[[note]\non = ")


def test_the_same_twice_is_a_fault(tmp_path):
    one = '[[note]]\non = 2026-01-01\ntext = "the rooms were closed"\n'
    with pytest.raises(FileRefused, match="say the same"):
        read(tmp_path, one + one)


@pytest.mark.parametrize(("words", "kind"), [
    ("We rang Maria about it", "name"), ("Anna Schmidt was ill", "name"), ("Dr Walker left", "name"),
    ("Mail to x.y@clinic.org", "e-mail"), ("Call 020 7946 0958", "telephone"), ("The clinic moved to Leeds", "place"),
    ("Record 4839221 was merged", "record number"), ("See www.example.org", "web address")])
def test_words_that_look_identifying_are_refused_and_not_shown(tmp_path, words, kind):
    for entry in (f'[[note]]\non = 2026-01-01\ntext = "{words}"\n',
                  f'[[decision]]\non = 2026-01-01\nof_quarter = "2025Q4"\ntext = "ok"\nfollowed = "{words}"\n'):
        with pytest.raises(IdentifierFound, match=kind) as caught:
            read(tmp_path, entry)
        assert words not in caught.value.text and caught.value.exit_code == 4


@pytest.mark.parametrize("words", [
    "Ring everybody whose diary has been missing for two weeks", "Grace period of two weeks",
    "Mark each diary with its week", "The Young group uses the old gauge", "In May the Monday clinic moved rooms",
    "Rose to 12 sessions a week from July on", "New manometer, gauge-3, in room 2",
    "Book the 12-week test on the first day of a course"])
def test_plain_words_pass(words):
    assert sentence_kinds(words) == []
