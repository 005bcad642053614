"""What is hidden is said in words, and nothing of it is drawn or summed up."""

from __future__ import annotations

import re
from dataclasses import replace

from pipeline.report import openings, sections_people, sections_pressure, sections_training
from pipeline.report.look import Look
from pipeline.report.views import Figure, Said
from pipeline.report.words import catalogue
from pipeline.results import Result, ResultSet
from tests.report import cohorts, made_quarter
from tests.report.prose import lines
from tests.report.test_pages import made


def hidden_where(*sections: str) -> Look:
    """The invented quarter with every number of some sections hidden."""

    def hide(r: Result) -> Result:
        if r.section not in sections or (r.section == "gains" and r.statistic.startswith("gain_")):
            return r
        return replace(r, n=None, hits=None, n_people=None, value=None, low=None, high=None, text=cohorts.HIDDEN)

    rows = ResultSet(tuple(hide(r) for r in made_quarter.rows()))
    return Look.at(rows, ("quarter",), catalogue(), cohorts.meta("shared"))


def test_opening_sentences_never_splice_the_mark_into_a_sentence() -> None:
    for sections in (("who",), ("dose", "effort"), ("safety",), ("gains",)):
        opening = openings.quarter(hidden_where(*sections))
        assert [s for s in opening.sentences if "hidden (" in s and "last quarter hidden" not in s] == []
        assert not any(f.value.startswith("hidden") for f in opening.figures)


def test_a_wholly_hidden_split_is_one_sentence() -> None:
    blocks = sections_people.who(hidden_where("who")).blocks
    assert any(isinstance(b, Said) and "to protect small groups" in b.sentences[0] for b in blocks)


def test_hidden_groups_are_not_drawn() -> None:
    blocks = sections_pressure.gains(hidden_where("gains")).blocks
    assert not any(isinstance(b, Figure) and b.id.startswith("fig-gain-groups") for b in blocks)


def test_hidden_safety_says_so_and_counts_nothing() -> None:
    said = sections_training.safety(hidden_where("safety")).blocks[0]
    assert isinstance(said, Said) and said.sentences == (catalogue().say("quarter.safety.hidden"),)


def test_people_behind_a_hidden_row_are_hidden_not_missing() -> None:
    rows = [line for line in lines(made("suppressed")["quarter.html"]) if "hidden (n<11)" in line]
    assert rows and not any(re.search(r"hidden \(n<11\) \| not recorded", line) for line in rows)
