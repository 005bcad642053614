"""Every number that a page prints stands in the results, or in the catalogue of texts, and nowhere else."""

from __future__ import annotations

import re

import pytest

from pipeline.report.words import MINUS, NARROW_GAP, catalogue, day_name, number, quarter_days, quarter_name
from pipeline.results import ResultSet
from tests.report import cohorts
from tests.report.prose import lines
from tests.report.test_pages import made

NUMBER = re.compile(rf"\d[\d{NARROW_GAP}]*(?:\.\d+)?")


def numbers_in(text: str) -> set[str]:
    return set(NUMBER.findall(text))


def allowed(results: ResultSet) -> set[str]:
    """Every form in which the results' numbers may be printed, and the numbers inside their words."""
    found: set[str] = set()
    for r in results.rows:
        for v in (r.value, r.low, r.high, r.n, r.hits, r.n_people, r.at, None if r.at is None else 100 * r.at):
            if v is not None:
                found |= {number(float(v), places).removeprefix(MINUS) for places in range(4)} | {f"{abs(v):.6g}"}
        found |= numbers_in(" ".join((r.group, r.text, r.note, quarter_name(r.text), day_name(r.text))))
    return found


@pytest.mark.parametrize("cohort", ["full", "suppressed"])
def test_every_number_printed_is_a_result(cohort: str) -> None:
    meta = cohorts.meta("internal")
    fixed = numbers_in(" ".join([*catalogue().entries.values(), *vars(meta).values(), day_name(meta.data_until_on),
                                 quarter_days(meta.quarter), quarter_name(meta.quarter)]))
    fixed |= {str(place) for place in range(40)}  # places of list lines and quantile names, weeks on an axis
    known = allowed(getattr(cohorts, cohort)()) | fixed
    for name, page in made(cohort).items():
        stray = {n for line in lines(page, with_drawings=False) for n in numbers_in(line)} - known
        assert sorted(stray) == [], name


def test_a_typed_number_would_be_found() -> None:
    known = allowed(cohorts.full())
    assert numbers_in("the gain was 123.456 cmH2O") - known - {"2"} == {"123.456"}
