"""From frames to results: models as data, fits, effect sizes, the sections of every page. Reads frames only."""

from __future__ import annotations

from pipeline.analyse import can_answer, protocols, quarter, stalled
from pipeline.analyse.across import sums_across
from pipeline.analyse.common import Frames, join
from pipeline.analyse.earlier import until_quarter
from pipeline.analyse.fits import Models, fit_models
from pipeline.analyse.fix_list import fix_list
from pipeline.analyse.predictions import predictions
from pipeline.analyse.sums_results import analyse_sums
from pipeline.results import ResultSet
from pipeline.settings import Settings

__all__ = ["Models", "analyse", "analyse_sums", "fit_models"]


def analyse(frames: Frames, settings: Settings, quarter_name: str) -> ResultSet:
    """Compute every result of the reported quarter (such as "2026Q3"), in the order of the pages.

    frames: name to frame, the tables of the schema `frames`. Models are fitted once and shared by all sections.
    """
    seen = until_quarter(frames, quarter_name, settings)
    models = fit_models(seen, settings)
    parts = [
        can_answer.results(seen, settings, quarter_name, models),
        quarter.results(seen, settings, quarter_name, models),
        protocols.results(seen, settings, quarter_name, models),
        stalled.results(seen, settings, quarter_name, models),
        predictions(seen, models, quarter_name),
        fix_list(seen, quarter_name),
    ]
    whole = join(parts)
    return ResultSet(whole.rows, whole.partitions + sums_across(whole.rows))
