"""What stands before every result: the data in hand, and what this cohort can answer (from the design alone)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from pipeline.analyse.common import Frames, Section, data_until, group
from pipeline.analyse.fits import Models, PressureModels
from pipeline.analyse.gate import Gate
from pipeline.analyse.models import MODELS
from pipeline.identity.quarters import day_words, number_of
from pipeline.results import ResultSet
from pipeline.settings import Settings

PER_10 = {
    "dose": "detectable_dose_per_10_points_cmh2o",
    "between": "detectable_between_per_10_points_cmh2o",
    "within": "detectable_within_per_10_points_cmh2o",
    "effort": "detectable_effort_per_10_points_cmh2o",
}
DETECTABLE = "from the design and an assumed spread: 80 % power at a two-sided 5 %, t with Kenward-Roger df"
LOGGED_BY = ("sessions", "diary")
"""What a week is logged by."""


@dataclass(frozen=True)
class Held:
    """The data in hand as days and counts: people have a course, the tested a test, the logged a logged week."""

    from_on: date | None
    until_on: date
    people: int
    courses: int
    test_days: int
    tested: int
    weeks_logged: int
    logged: int


def data(frames: Frames, quarter: str) -> ResultSet:
    """Section "data": the span, and how many people, courses, test days and logged weeks there are."""
    courses, tests, weeks = frames["courses"], frames["test_days"], frames["client_weeks"]
    first, logged = courses["from_on"].min(), weeks.filter(weeks["logged_by"].is_in(LOGGED_BY))
    return told(Held(
        first if isinstance(first, date) else None, data_until(frames), courses["client_key"].n_unique(),
        courses.height, tests.height, tests["client_key"].n_unique(), logged.height, logged["client_key"].n_unique(),
    ), quarter)  # fmt: skip


def told(held: Held, quarter: str) -> ResultSet:
    """Section "data" from its counts."""
    section = Section("common", "data")
    section.add("data_from_on", text=day_words(held.from_on, quarter) if held.from_on else "no course yet")
    section.add("data_until_on", text=day_words(held.until_on, quarter))
    section.add("quarter", text=quarter, value=float(number_of(quarter)), unit="quarter number")
    section.add("people", n=held.people)
    section.add("courses", n=held.courses, n_of="courses", n_people=held.people)
    section.add("test_days", n=held.test_days, n_of="test days", n_people=held.tested)
    section.add("weeks_logged", n=held.weeks_logged, n_of="weeks", n_people=held.logged)
    return section.done()


def _counts(section: Section, gate: Gate, where: str) -> None:
    section.add("rung", where, value=float(gate.rung[1]), text=gate.rung, note=MODELS[gate.rung].meaning)
    section.add("rung_reason", where, text=gate.reason)
    everybody = section.add("people_in_frame", where, n=gate.people)
    three = section.add("people_with_3_tests", where, n=gate.with_3_tests)
    four = section.add("people_with_4_tests", where, n=gate.with_4_tests)
    fewer = section.add("people_with_under_3_tests", where, n=gate.people - gate.with_3_tests)
    section.sum_of(everybody, [three, fewer])
    just = section.add("people_with_just_3_tests", where, n=gate.with_3_tests - gate.with_4_tests)
    section.sum_of(three, [four, just])
    for protocol, people in gate.past_12_weeks.items():
        section.add("people_past_12_weeks", f"{where};protocol={protocol}", n=people)


def _detectable(section: Section, gate: Gate, where: str) -> None:
    for name, value in gate.detectable.items():
        known = np.isfinite(value)
        fields = {"value": float(value) if known else None, "unit": "cmH2O", "method": DETECTABLE,
                  "text": "" if known else "the design cannot tell"}  # fmt: skip
        if " - " in name:
            section.add("detectable_protocol_difference_cmh2o", f"{where};protocols={name}", at=12.0, **fields)
        elif name == "gain":
            section.add("detectable_gain_cmh2o", where, at=12.0, **fields)
        else:
            section.add(PER_10[name], where, **fields)
    for block, value in gate.vif.items():
        finite = np.isfinite(value)
        section.add("block_vif", f"{where};block={block}", value=float(value) if finite else None, unit="ratio",
                    text="" if finite else "cannot be told apart",
                    method="generalised variance inflation per column, beyond the mean curve")


def _pressure(section: Section, found: PressureModels) -> None:
    where = group(pressure=found.pressure)
    if found.gate is None or found.primary is None:
        section.state("Too few people have two comparable tests of this pressure for any model.", group=where)
        section.add("fit_state", where, text="cannot be fitted: too few people")
        return
    _counts(section, found.gate, where)
    _detectable(section, found.gate, where)
    for question, answer in found.gate.answers.items():
        section.add("answer", f"{where};question={question}", text=answer.verdict, note=answer.why,
                    value=None if answer.more_tests is None else float(answer.more_tests), unit="second tests")
    section.add("fit_state", where, text=found.primary.state)


def can_answer(models: Models) -> ResultSet:
    """Section "can_answer"."""
    section = Section("common", "can_answer")
    for found in models.values():
        _pressure(section, found)
    return section.done()


def results(frames: Frames, settings: Settings, quarter: str, models: Models) -> ResultSet:
    """The sections of the report "common"."""
    del settings
    return data(frames, quarter) + can_answer(models)
