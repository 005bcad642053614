"""All invented results of the quarter page."""

from __future__ import annotations

from pipeline.results import Result
from tests.report import made_gain, made_people, made_pressure, made_service, made_time, made_training

PARTS = (
    made_people.who, made_people.counted, made_people.records, made_training.dose, made_training.effort,
    made_training.settings, made_pressure.gains, made_gain.gain_apart, made_pressure.past_error, made_pressure.model,
    made_time.over_time, made_gain.decisions,
    made_people.sites, made_people.safety, made_service.service, made_time.cautions, made_time.made,
)


def rows() -> list[Result]:
    return [r for part in PARTS for r in part()]
