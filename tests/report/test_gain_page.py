"""Where the gain may come from, charts over quarters and decisions on the page: claims against their rows."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from pipeline.analyse.common import Section
from pipeline.analyse.over_time import over_time
from pipeline.identity.quarters import label_of
from pipeline.report import sections_gain, sections_over_time, sections_pressure
from pipeline.report.language import spoken
from pipeline.report.look import Look
from pipeline.report.views import Figure, Heading, SectionView
from pipeline.results import Result
from pipeline.settings import Settings
from tests.analyse.test_over_time import START, STEADY, cohort
from tests.report import cohorts, made_gain, made_pressure


def look(rows: list[Result]) -> Look:
    with spoken("en") as texts:
        return Look(tuple(rows), texts, cohorts.meta("internal"))


def figures(view: SectionView) -> list[Figure]:
    return [b for b in view.blocks if isinstance(b, Figure)]


def test_the_claim_of_what_is_left_is_that_of_the_rows() -> None:
    made = figures(sections_gain.gain_apart(look(made_gain.gain_apart())))
    assert [f.claim for f in made] == [
        f"{p}: of 11.2 cmH2O measured, 3.9 to 11.0 is left when every named part is taken off" for p in ("MIP", "MEP")]
    assert "no figure" in made[1].numbers and "no figure" not in made[0].numbers


def test_populations_without_a_sham_arm_are_named_and_borrow_nothing() -> None:
    view = sections_gain.gain_apart(look([*made_gain.gain_apart(), *made_pressure.gains()]))
    said = " ".join(s for b in view.blocks for s in getattr(b, "sentences", ()))
    assert "no sham arm is held for stroke" in said


def test_a_hidden_gain_is_not_taken_apart() -> None:
    hidden = [replace(r, n=None, value=None, low=None, high=None, text="hidden (n<11)") for r in made_gain.gain_apart()]
    view = sections_gain.gain_apart(look(hidden))
    assert figures(view) == [] and not [b for b in view.blocks if isinstance(b, Heading)]


def test_effect_sizes_stand_in_order_and_are_never_called_small_or_large() -> None:
    block = sections_pressure._before_after(look(made_pressure.gains()))
    assert block is not None
    text = re.sub(r"<[^>]+>", " ", block.html)
    places = [text.index(w) for w in ("61.3", "19.8", "72.6", "12.1", "18", "0.57", "0.93", "6.4", "17.7")]
    assert places == sorted(places)
    assert not re.search(r"\b(small|medium|moderate|large)\b", text)


def over(quarters: int, people: int | list[int] = 20, notes: bool = False) -> Figure:
    rows = list(over_time(cohort(STEADY[:quarters], people=people), label_of(START + quarters - 1), Settings()).rows)
    if notes:
        section = Section("quarter", "decisions")
        for mark in ("A", "B"):
            section.add("note", f"mark={mark};quarter={label_of(START + 2)};on=2023-08-01;kind=note", text="closed",
                        klass="client")  # fmt: skip
        rows += section.rows
    return figures(sections_over_time.over_time(look(rows)))[0]


@pytest.mark.parametrize(("quarters", "claim", "levels", "lines"), [
    (5, "too few quarters to judge", ["median"], 0), (9, "no signal", ["median"], 1),
    (14, "no signal", ["lower limit", "centre", "upper limit"], 1)])
def test_dots_then_a_run_chart_then_limits(quarters: int, claim: str, levels: list[str], lines: int) -> None:
    made = over(quarters)
    wide = made.drawing.split('<div class="narrow">')[0]
    assert claim in made.claim
    assert [w for w in ("lower limit", "centre", "upper limit", "median") if f">{w}</text>" in wide] == levels
    assert wide.count('stroke-width="1.4"') == lines and wide.count('r="4.2"') == quarters
    assert ("show at least one signal" in made.caution) == (quarters >= 8)


def test_a_small_quarter_is_hollow_and_a_note_has_its_letters() -> None:
    people = [20] * 9
    people[4] = 8
    made = over(9, people, notes=True)
    wide = made.drawing.split('<div class="narrow">')[0]
    assert wide.count('fill="var(--paper,#ffffff)"') == 1 and "Hollow" in made.reading
    assert ">A B</text>" in wide
