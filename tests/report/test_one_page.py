"""The editions of one printed side: no client, nothing of nobody, blocks called blocks, matters for a decision."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from pipeline.report.editions import PAGES, one_page
from pipeline.report.look import Look
from pipeline.report.sections_index import LISTED
from pipeline.report.sections_manager import asked
from pipeline.report.views import ONE_PAGE, Page, Said
from pipeline.report.words import catalogue
from pipeline.results import Result, ResultSet
from tests.report import cohorts

RELATIVE = replace(cohorts.meta("shared"), quarter="block-002", date_policy="relative", data_until_on="day 300")


def body(page: str) -> str:
    """What stands between the head and the foot of a page."""
    return page.partition("<main")[2].partition("</main>")[0]


def matters(*rows: Result) -> str:
    """What asks for a decision, of some rows."""
    found = asked(Look.at(ResultSet(rows), ("quarter",), catalogue(), cohorts.meta("shared"))).blocks[0]
    assert isinstance(found, Said)
    return " ".join(found.sentences)


def test_they_are_in_the_shared_edition_and_its_index_alone() -> None:
    assert set(ONE_PAGE) <= set(PAGES["shared"]) and not set(ONE_PAGE) & set(PAGES["internal"])
    assert set(ONE_PAGE) <= set(LISTED["shared"]) and not set(ONE_PAGE) & set(LISTED["internal"])


@pytest.mark.parametrize("name", ONE_PAGE)
def test_of_no_results_every_section_is_a_sentence(name: Page) -> None:
    made = body(one_page(name, ResultSet(()), cohorts.meta("shared")))
    assert "<table" not in made and "None" not in made
    assert made.count("<h2") == made.count('class="limits"') >= 4
    assert len(re.findall(r'<p class="said', made)) >= made.count("<h2")


@pytest.mark.parametrize("name", ONE_PAGE)
def test_a_block_is_not_called_a_quarter(name: Page) -> None:
    assert "quarter" not in body(one_page(name, cohorts.full(), RELATIVE))
    assert "quarter" in body(one_page(name, cohorts.full(), cohorts.meta("shared")))


@pytest.mark.parametrize("name", ONE_PAGE)
def test_no_row_about_one_person_is_looked_at(name: Page) -> None:
    known = {r.group.partition(";")[0] for r in cohorts.full().rows if r.klass == "client"}
    keys, page = {k for k in known if re.search(r"\d", k)}, one_page(name, cohorts.full(), cohorts.meta("shared"))
    assert keys and [k for k in keys if k in page] == []


def test_a_funder_sees_no_site() -> None:
    page = body(one_page("for_funder", cohorts.full(), cohorts.meta("shared")))
    assert not re.search(r">(east|north|south)<", page) and "<table" in page


def test_what_asks_for_a_decision_comes_from_the_records() -> None:
    where = "period=this;pressure=mip;standing=past the window, not tested"
    late = Result("quarter", "service", "due", where, n=13)
    assert "13 people" in matters(late)
    assert "hidden" in matters(replace(late, n=None, text=cohorts.HIDDEN)) and "13" not in matters(
        replace(late, n=None, text=cohorts.HIDDEN))
    assert matters(replace(late, n=0)) == matters() == catalogue().say("for_manager.asked.none")
    full = Result("quarter", "records", "filled", "item=weekly_log;period=this", n=90, hits=90, value=100.0, unit="%")
    assert matters(full) == matters() and "50" in matters(replace(full, hits=45, value=50.0))
