"""Every number that a page prints stands in the results, or in the catalogue of texts, and nowhere else."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from pipeline.report.views import PageMeta
from pipeline.report.words import MINUS, NARROW_GAP, catalogue, day_name, number, quarter_days, quarter_name
from pipeline.results import ResultSet
from tests.report import cohorts
from tests.report.prose import lines
from tests.report.sample_pages import EACH, Edition, edition_of
from tests.report.test_pages import COHORTS, made

NUMBER = re.compile(rf"\d[\d{NARROW_GAP}]*(?:\.\d+)?")


def numbers_in(text: str) -> set[str]:
    return set(NUMBER.findall(text))


def allowed(results: ResultSet) -> set[str]:
    """Every form in which the results' numbers may be printed, and the numbers inside their words."""
    found: set[str] = set()
    for r in results.rows:
        for v in (r.value, r.low, r.high, r.n, r.hits, r.n_people, r.at, None if r.at is None else 100 * r.at):
            if v is not None:
                found |= {number(float(v), places).removeprefix(MINUS) for places in range(4)}
                found |= {f"{abs(v):.6g}", f"{abs(v):.0f}"}
        found |= numbers_in(" ".join((r.group, r.text, r.note, r.method, quarter_name(r.text), day_name(r.text))))
    return found


def printed_always(meta: PageMeta) -> set[str]:
    """The numbers of the texts themselves and of the head and foot of a page."""
    about = " ".join([*catalogue(meta.language).entries.values(), *map(str, vars(meta).values()),
                      day_name(meta.data_until_on), quarter_days(meta.quarter), quarter_name(meta.quarter)])
    return numbers_in(with_points(about, meta.language)) | {
        str(place) for place in range(40)}  # places of list lines and quantile names, weeks on an axis


def with_points(text: str, language: str) -> str:
    """Decimal marks of a language as points, so that the numbers of all languages can be looked up alike."""
    mark = re.escape(catalogue(language).entries["locale.decimal"])
    return re.sub(rf"(?<=\d){mark}(?=\d)", ".", text)


def tips(page: str) -> list[str]:
    """What stands behind the marks of drawings, in title elements."""
    return re.findall(r"<title[^>]*>([^<]*)</title>", page)


@pytest.mark.parametrize("cohort", COHORTS)
def test_every_number_printed_is_a_result(cohort: str) -> None:
    meta = cohorts.meta("internal")
    known = allowed(getattr(cohorts, cohort)()) | printed_always(meta)
    for name, page in made(cohort).items():
        stray = {n for line in [*lines(page, with_drawings=False), *tips(page)] for n in numbers_in(line)} - known
        assert sorted(stray) == [], name


def test_a_typed_number_would_be_found() -> None:
    known = allowed(cohorts.full())
    assert numbers_in("the gain was 123.456 cmH2O") - known - {"2"} == {"123.456"}


@pytest.fixture(scope="module", params=EACH, ids="-".join)
def edition(request: pytest.FixtureRequest, sample_review: tuple[Path, object]) -> Edition:
    """Each edition of the sample's review in each language."""
    name, language = request.param
    return edition_of(sample_review[0] / name, language)


def test_an_edition_is_what_its_results_say(edition: Edition, sample_review: tuple[Path, object]) -> None:
    written = {path.name for path in (sample_review[0] / edition.meta.edition).glob("*.html")}
    assert set(edition.made) == written
    if edition.meta.language == "en":
        for name, page in edition.made.items():
            assert page == (sample_review[0] / edition.meta.edition / name).read_text(encoding="utf-8"), name


def test_every_number_printed_of_the_sample_is_a_result(edition: Edition) -> None:
    known = allowed(edition.results) | printed_always(edition.meta)
    for name, page in edition.made.items():
        said = [with_points(line, edition.meta.language) for line in [*lines(page, with_drawings=False), *tips(page)]]
        stray = sorted({(n, line[:90]) for line in said for n in numbers_in(line) if n not in known})
        assert stray == [], name
