"""Numbers and sentences: one formatter, short sentences, no judging words."""

from __future__ import annotations

import re

import pytest

from pipeline.errors import RmtError
from pipeline.report import words
from pipeline.results import Result

NOT_SENTENCES = ("names.", "measures.", "words.")


def result(**fields: object) -> Result:
    return Result("quarter", "gains", "gain_cmh2o", **fields)  # type: ignore[arg-type]


@pytest.mark.parametrize(("value", "decimals", "text"), [
    (-0.04, 1, "0.0"), (-1.25, 1, "\u22121.2"), (9999, 0, "9999"), (12345.6, 1, "12\u202f345.6"), (0, 0, "0")])
def test_number(value: float, decimals: int, text: str) -> None:
    assert words.number(value, decimals) == text


def test_estimate_keeps_two_digits_of_the_standard_error() -> None:
    assert words.estimate(result(value=11.23, low=9.81, high=12.64, unit="cmH2O")) == \
        "11.2\u00a0cmH2O (95\u00a0% CI 9.8 to 12.6)"
    assert words.decimals_for(0.0, 40.0) == 0
    assert words.decimals_for(0.0, 0.3) == 2


def test_a_hidden_value_prints_its_word_and_no_number() -> None:
    hidden = result(text="hidden (n<11)", unit="%", low=None, high=None)
    assert words.is_hidden(hidden)
    for printed in (words.estimate(hidden), words.of(hidden), words.with_unit(hidden), words.interval(hidden),
                    words.people(hidden)):
        assert printed == "hidden (n<11)"


def test_share_names_its_denominator() -> None:
    assert words.of(result(value=64.0, hits=112, n=175, unit="%")) == "64\u00a0% (112 of 175)"


def test_a_missing_text_says_which() -> None:
    with pytest.raises(RmtError, match=r"no\.such\.key"):
        words.catalogue().say("no.such.key")


def test_days_and_quarters() -> None:
    assert words.day_name("2026-09-30") == "30\u00a0September\u00a02026"
    assert words.quarter_days("2026Q3") == "1\u00a0July to 30\u00a0September\u00a02026"
    assert words.day_name("not recorded") == "not recorded"


def test_sentences_are_short() -> None:
    entries = {k: v for k, v in words.catalogue().entries.items() if not k.startswith(NOT_SENTENCES)}
    long = [k for k, text in entries.items() for sentence in re.split(r"(?<=[.?;:!])\s", text)
            if len(sentence.split()) > 25]
    assert long == []


def test_no_advice_to_raise_a_load() -> None:
    text = " ".join(words.catalogue().entries.values()).lower()
    assert not re.search(r"\b(increase|raise|step up) (the )?(load|setting|resistance)", text)
