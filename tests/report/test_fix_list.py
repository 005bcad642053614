"""The fix list: cause by cause and site by site, nobody's question lost, and never in the shared edition."""

from __future__ import annotations

import re

from pipeline.report import openings
from pipeline.report.look import Look
from pipeline.report.sections_fix_list import MOST_ROWS, asked, how_many
from pipeline.report.views import Heading, Said
from pipeline.report.words import catalogue
from pipeline.results import ResultSet
from tests.report import cohorts, made_queries
from tests.report.prose import lines
from tests.report.test_pages import made


def look(each: int = 3) -> Look:
    return Look.at(ResultSet(tuple(made_queries.rows(each))), ("queries",), catalogue(), cohorts.meta("internal"))


def test_every_question_stands_under_its_cause_and_site_with_what_was_done() -> None:
    text = lines(made("full")["fix_list.html"])
    heads = [line for line in text if line.startswith("### ")]
    assert heads == ["### No prescription", "### Pause still open"]
    start = text.index("### No prescription")
    assert text[start + 1] == "No dose is recorded for this course. What was prescribed, and from when?"
    assert text[start + 2].startswith("Meanwhile: Adherence cannot be worked out")
    assert "east · questions: 3" in text[start:]
    assert "key-east-0 | episodes | episodes.csv:2 | 1 | 1\u00a0May\u00a02026" in text[start:]
    assert sum(line.startswith("key-") for line in text) == 18


def test_counts_by_cause_and_by_site_add_up_to_all() -> None:
    by_cause, by_site = how_many(look()).blocks[1].blocks  # type: ignore[union-attr]
    for block in (by_cause, by_site):
        counts = [int(n) for n in re.findall(r'gt_right">(\d+)</td><td', block.html)]  # type: ignore[union-attr]
        assert sum(counts) == 18


def test_nothing_open_is_a_sentence_on_top_and_below() -> None:
    text = lines(made("tiny")["fix_list.html"])
    assert text.count(catalogue().say("fix_list.nobody")) == 3


def test_a_long_list_says_how_much_of_it_is_shown() -> None:
    blocks = asked(look(400)).blocks
    last = blocks[-1]
    assert isinstance(last, Said) and last.sentences[0].startswith(f"The first {MOST_ROWS} of 2400 questions")
    shown = sum(b.html.count('scope="row"') for b in blocks if hasattr(b, "html"))
    assert shown == MOST_ROWS and sum(isinstance(b, Heading) for b in blocks) == 2
    assert len("".join(b.html for b in blocks if hasattr(b, "html")).encode()) < 1_300_000


def test_the_most_frequent_cause_is_named_only_where_it_is_one() -> None:
    assert not any("most frequent" in s for s in openings.fix_list(look()).sentences)
    rows = [r for r in made_queries.rows() if not (r.group == "cause=pause_open" and r.statistic == "open")]
    one = Look.at(ResultSet(tuple(rows)), ("queries",), catalogue(), cohorts.meta("internal"))
    assert any("most frequent cause is no prescription: 9" in s for s in openings.fix_list(one).sentences)


def test_internal_pages_lead_there_and_shared_ones_know_nothing_of_it() -> None:
    for page in ("index.html", "quarter.html"):
        assert 'href="fix_list.html"' in made("full")[page]
    assert "fix_list.html" not in made("suppressed")
    assert not any("fix_list" in page for page in made("suppressed").values())


def test_no_client_key_in_an_id_or_address() -> None:
    page = made("full")["fix_list.html"]
    assert "key-east-0" in page and not re.search(r'(?:id|href|headers|aria-labelledby)="[^"]*key-', page)
