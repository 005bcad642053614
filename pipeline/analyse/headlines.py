"""The headline numbers of a review: those that a later review restates, and how to compute them alone."""

from __future__ import annotations

from pipeline.analyse import protocol_models
from pipeline.analyse.common import Frames, join
from pipeline.analyse.earlier import until_quarter
from pipeline.analyse.fits import fit_models
from pipeline.analyse.gains import gains
from pipeline.analyse.past_error import past_error
from pipeline.analyse.people import who
from pipeline.analyse.plans import taken
from pipeline.analyse.training import dose, effort
from pipeline.results import Result
from pipeline.settings import Settings

HEADLINES: dict[str, tuple[str, ...]] = {
    "quarter.who.people": ("period=this",),
    "quarter.dose.session_adherence_pct": ("period=this",),
    "quarter.effort.in_band_pct": ("period=this",),
    "quarter.gains.gain_cmh2o": ("pressure=mip", "pressure=mep"),
    "quarter.gains.raw_gain_cmh2o": ("pressure=mip", "pressure=mep"),
    "quarter.past_error.sdc95_cmh2o": ("pressure=mip", "pressure=mep"),
    "quarter.past_error.expected_past_sdc_pct": ("pressure=mip", "pressure=mep"),
    "protocols.difference.difference_cmh2o": (),
}
"""report.section.statistic to the groups that are headlines; without any, every group."""
WEEKS = (None, 12.0)
"""Where a curve or a contrast is read as a headline."""


def is_headline(row: Result) -> bool:
    """Tell whether a row is a headline number."""
    groups = HEADLINES.get(f"{row.report}.{row.section}.{row.statistic}")
    return groups is not None and row.at in WEEKS and (not groups or row.group in groups)


def figure(row: Result) -> float | None:
    """The number that a row prints: its value, or its count."""
    return row.value if row.value is not None else (None if row.n is None or row.unit else float(row.n))


def headlines(frames: Frames, settings: Settings, quarter: str) -> dict[str, Result]:
    """The headline numbers of a quarter by key, computed alone from frames that may hold later rows."""
    seen = until_quarter(frames, quarter, settings)
    models, theirs = fit_models(seen, settings), taken(seen)
    compared = models if theirs is seen else fit_models(theirs, settings)
    whole = join([
        who(seen, quarter), dose(seen, quarter), effort(seen, quarter),
        gains(seen, settings, models), past_error(seen, settings, models),
        protocol_models.difference(compared, settings),
    ])  # fmt: skip
    return {row.key: row for row in whole.rows if is_headline(row)}
