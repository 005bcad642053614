"""The clinic's quarter: its sections in the order of the page."""

from __future__ import annotations

from dataclasses import fields

from pipeline.analyse.association import TEN_POINTS, association
from pipeline.analyse.cautions import cautions
from pipeline.analyse.common import Frames, Section, group, join
from pipeline.analyse.decisions import decisions
from pipeline.analyse.effects import put
from pipeline.analyse.fits import Models
from pipeline.analyse.function import function
from pipeline.analyse.gain_apart import gain_apart
from pipeline.analyse.gains import gains
from pipeline.analyse.instrument_watch import instrument_watch
from pipeline.analyse.models import formula_in_words
from pipeline.analyse.over_time import over_time
from pipeline.analyse.past_error import past_error
from pipeline.analyse.people import counted, who
from pipeline.analyse.records import records
from pipeline.analyse.safety import safety
from pipeline.analyse.service import service
from pipeline.analyse.sites import sites
from pipeline.analyse.stalled_people import look_day
from pipeline.analyse.training import dose, effort, settings_moved
from pipeline.analyse.varying import varying
from pipeline.identity.day_offsets import RELATIVE
from pipeline.results import ResultSet
from pipeline.settings import Settings

NOT_SHOWN = "not shown: see the reason beside it"


def model(models: Models, settings: Settings) -> ResultSet:
    """Section "model": what goes with the gain, where the headline rule allows it."""
    section = Section("quarter", "model")
    for pressure, found in models.items():
        where = group(pressure=pressure)
        if found.gate is None:
            section.state("Too few people have two comparable tests for a model.", group=where)
            continue
        seen = association(found)
        section.add("headline", f"{where};question=dose", text="shown" if seen.shown else "not shown",
                    note="; ".join(seen.why))
        put(section, "dose_per_10_points_cmh2o", where, seen.dose if seen.shown else None,
            **({} if seen.shown else {"text": NOT_SHOWN}))
        primary, answer = found.working("primary"), found.gate.answers["effort"]
        in_band = primary.term("effort_e", TEN_POINTS) if primary and answer.is_open else None
        section.add("headline", f"{where};question=effort", text="shown" if in_band else "not shown",
                    note="effort is partly a consequence of training well" if in_band else answer.why)
        put(section, "effort_per_10_points_cmh2o", where, in_band, **({} if in_band else {"text": NOT_SHOWN}))
        varying(section, found, settings)
    return section.done()


def made(settings: Settings, models: Models) -> ResultSet:
    """Section "made": every setting with its unit, and the formula of each model."""
    section = Section("quarter", "made")
    for one in fields(settings):
        value = getattr(settings, one.name)
        number = float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None
        word = "" if number is not None else str(value) or "not set"
        section.add("setting", group(name=one.name), value=number, text=word,
                    unit=one.metadata["unit"], note=one.metadata["source"], method=one.metadata["meaning"])
    for pressure, found in models.items():
        if found.primary is not None:
            section.add("formula", group(pressure=pressure), text=formula_in_words(found.primary.built))
    return section.done()


def results(frames: Frames, settings: Settings, quarter: str, models: Models) -> ResultSet:
    """All sections of the report "quarter". Safety is counted before every filter."""
    return join([
        who(frames, quarter),
        counted(frames, settings),
        records(frames, quarter),
        safety(frames, quarter),
        service(frames, quarter, settings),
        dose(frames, quarter),
        effort(frames, quarter),
        settings_moved(frames, quarter),
        gains(frames, settings, models),
        gain_apart(frames, settings, quarter, models),
        past_error(frames, settings, models),
        model(models, settings),
        over_time(frames, quarter, settings),
        decisions(frames, quarter, settings),
        function(frames),
        instrument_watch(frames, models, look_day(frames, quarter), is_told=settings.date_policy != RELATIVE),
        sites(frames, quarter, models, settings),
        cautions(frames, settings),
        made(settings, models),
    ])
