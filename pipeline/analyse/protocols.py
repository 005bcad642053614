"""The researcher's protocols: its sections in the order of the page."""

from __future__ import annotations

from pipeline.analyse.choices import choices
from pipeline.analyse.common import Frames, join
from pipeline.analyse.fits import Models
from pipeline.analyse.missing import missing_outcome
from pipeline.analyse.people import counted
from pipeline.analyse.protocol_models import believable, difference, dose_response, fitted
from pipeline.analyse.protocol_setting import alike, estimand, overlap, training
from pipeline.results import ResultSet
from pipeline.settings import Settings


def results(frames: Frames, settings: Settings, quarter: str, models: Models) -> ResultSet:
    """All sections of the report "protocols". `quarter` has cut the frames already."""
    del quarter
    return join([
        estimand(frames, settings),
        training(frames),
        counted(frames, settings, "protocols"),
        alike(frames),
        overlap(frames, models),
        fitted(models),
        difference(models, settings),
        dose_response(models),
        believable(frames, models),
        choices(frames, models, settings),
        missing_outcome(frames, models),
    ])
