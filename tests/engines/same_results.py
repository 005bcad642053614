"""Compares results that were computed from an engine's sums with those from rows: numbers to 1e-8, all else exactly."""

from __future__ import annotations

import dataclasses

from pipeline.analyse import can_answer, fit_models, plans
from pipeline.analyse.common import Frames, join
from pipeline.analyse.earlier import until_quarter
from pipeline.analyse.gains import gains
from pipeline.analyse.protocol_models import difference, dose_response, fitted
from pipeline.results import Result, ResultSet
from pipeline.settings import Settings

TOLERANCE = 1e-8
NEED_ROWS = ("protocols.dose_response.adherence_decile_pct",)
SECTIONS = {("common", "data"), ("common", "can_answer"), ("protocols", "fitted"), ("protocols", "difference"),
            ("protocols", "dose_response")}


def from_rows(frames: Frames, settings: Settings, quarter: str) -> ResultSet:
    """The same sections from the frames, as `analyse` makes them."""
    seen = until_quarter(frames, quarter, settings)
    models = fit_models(seen, settings)
    taken = models if seen is plans.taken(seen) else fit_models(plans.taken(seen), settings)
    return join([can_answer.results(seen, settings, quarter, models), gains(seen, settings, models), fitted(taken),
                 difference(taken, settings), dose_response(taken)])


def unlike(found: Result, expected: Result) -> list[str]:
    """Names of the fields in which two results differ."""
    out = []
    for field in dataclasses.fields(Result):
        a, b = getattr(found, field.name), getattr(expected, field.name)
        near = isinstance(a, float) and isinstance(b, float) and abs(a - b) <= TOLERANCE * max(1.0, abs(b))
        out += [] if a == b or near else [f"{found.key} {field.name}: {a} and {b}"]
    return out


def differing(found: ResultSet, expected: ResultSet) -> list[str]:
    """What differs between results from sums and from rows; every row of SECTIONS is looked for in both."""
    rows = {r.key: r for r in expected.rows}
    said = [line for r in found.rows for line in (unlike(r, rows[r.key]) if r.key in rows else [f"{r.key}: only here"])]
    wanted = {k for k, r in rows.items() if (r.report, r.section) in SECTIONS and not k.startswith(NEED_ROWS)}
    return said + [f"{k}: missing" for k in sorted(wanted - {r.key for r in found.rows})]
