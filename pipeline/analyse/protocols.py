"""The researcher's protocols: its sections in the order of the page."""

from __future__ import annotations

from pipeline.analyse.balance import balanced
from pipeline.analyse.choices import choices
from pipeline.analyse.common import Frames, join
from pipeline.analyse.fits import Models, fit_models
from pipeline.analyse.missing import missing_outcome
from pipeline.analyse.people import counted
from pipeline.analyse.planned import planned
from pipeline.analyse.plans import taken
from pipeline.analyse.protocol_models import believable, difference, dose_response, fitted
from pipeline.analyse.protocol_setting import alike, estimand, overlap, training
from pipeline.analyse.tipping import tipping
from pipeline.results import ResultSet
from pipeline.settings import Settings


def results(frames: Frames, settings: Settings, quarter: str, models: Models) -> ResultSet:
    """All sections of the report "protocols". `quarter` has cut the frames already.

    Where the plan takes only people who agreed to research use, all of it is about them, models included.
    """
    del quarter
    everybody, frames = frames, taken(frames)
    models = models if frames is everybody else fit_models(frames, settings)
    others = choices(frames, models, settings)
    return join([
        estimand(frames, settings),
        planned(everybody, models, others),
        training(frames),
        counted(frames, settings, "protocols"),
        alike(frames),
        overlap(frames, models),
        balanced(frames, models, settings),
        fitted(models, settings),
        difference(models, settings),
        dose_response(models),
        believable(frames, models),
        others,
        missing_outcome(frames, models),
        tipping(models, settings),
    ])
