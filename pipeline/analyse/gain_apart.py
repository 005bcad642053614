"""Where the measured gain may come from: taken apart into what no training made, and what is left."""

from __future__ import annotations

import polars as pl

from pipeline.analyse.common import Frames, Section, group
from pipeline.analyse.effects import measurement_error, twelve_week_gains
from pipeline.analyse.fits import Models, PressureModels
from pipeline.analyse.gain_parts import Part, efforts, instruments, kept_at_both, learning, regression, survivors
from pipeline.analyse.instrument_watch import Change, changes
from pipeline.analyse.people import eligible, with_exits
from pipeline.analyse.stalled_people import look_day
from pipeline.identity.day_offsets import RELATIVE
from pipeline.results import Partition, ResultSet
from pipeline.settings import Settings

PARTS = ("learning", "regression", "survivors", "efforts", "instruments")
OVERLAP = "the parts may overlap and need not add up"


def remainder(gain: float, parts: list[Part]) -> Part:
    """What is left when every part is taken off: at its middle, and all of them at their ends together.

    The interval of the measured gain itself is not in this range; a part without a figure takes nothing off.
    """
    known = [p for p in parts if p.middle is not None and p.low is not None and p.high is not None]
    low, middle, high = (gain - sum(getattr(p, end) for p in known) for end in ("high", "middle", "low"))
    lacking = ", ".join(p.name for p in parts if p.middle is None)
    assumes = "training, natural recovery, attention and whatever else is not named above"
    return Part("remainder", low, middle, high, assumes + (f"; nothing taken off for {lacking}" if lacking else ""),
                "measured gain less all parts: at their highest, their middle and their lowest together; "
                f"{OVERLAP}; the interval of the gain itself is not in it")  # fmt: skip


def _put(section: Section, pressure: str, part: Part, n: int) -> None:
    """Add one part; the people behind it are those of the measured gain, and are hidden with them."""
    row = section.add("part_cmh2o", group(pressure=pressure, part=part.name), at=12.0, n=n, value=part.middle,
                      low=part.low, high=part.high, unit="cmH2O", text=part.assumes, method=part.how)
    section.sums.append(Partition(row.key, (f"quarter.gains.raw_gain_cmh2o[pressure={pressure}]@12",)))


def _people(frames: Frames, pressure: str) -> pl.DataFrame:
    """People with a 12-week gain, and how their protocol was chosen."""
    how = frames["courses"].select("client_key", "course_no", "assigned_by")
    return twelve_week_gains(frames, pressure).join(how, on=["client_key", "course_no"], how="left").sort("client_key")


def _one(section: Section, frames: Frames, found: PressureModels, settings: Settings, seen: list[Change]) -> None:
    pressure, where = found.pressure, group(pressure=found.pressure)
    people = _people(frames, pressure)
    if people.is_empty():
        section.state("No one has both a baseline and a test in the 12-week window.", group=where)
        return
    measured = section.mean("measured_cmh2o", where, people["gain12_cmh2o"], "cmH2O", at=12.0)
    section.sums.append(Partition(measured.key, (f"quarter.gains.raw_gain_cmh2o[{where}]@12",)))
    gain, n = float(measured.value or 0.0), people.height
    known = kept_at_both(found, frames, people)
    error = measurement_error(found, settings)
    parts = [
        learning(frames, pressure, n),
        regression(people, pressure, error, settings),
        survivors(frames, found, with_exits(eligible(frames, pressure), settings), gain),
        efforts(found, known),
        instruments(found, frames, people, seen),
    ]
    for part in (*parts, remainder(gain, parts)):
        _put(section, pressure, part, n)
    section.share("efforts_known", where, known.height, n)
    section.split("assigned", measured, people, "assigned_by", within={"pressure": pressure})


def gain_apart(frames: Frames, settings: Settings, quarter: str, models: Models) -> ResultSet:
    """Section "gain_apart" of the quarter: the gain as measured, its parts and what is left, for each pressure."""
    section = Section("quarter", "gain_apart")
    told = settings.date_policy != RELATIVE  # days of instruments have no order between clients there
    seen = changes(frames, look_day(frames, quarter)) if told else []
    for found in models.values():
        _one(section, frames, found, settings, seen)
    return section.done()
