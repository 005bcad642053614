"""What would tip a result, in units of the practice: pressure lost by each person not retested; unlogged training."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.analyse.choice import DIFFERENCE, Target
from pipeline.analyse.common import Section, group
from pipeline.analyse.dropout import (
    BETTER,
    BOTH,
    EVERYBODY,
    LESS,
    Lost,
    Tip,
    dose_by_share,
    lost,
    share_that_tips,
    tip,
    with_missing_time,
)
from pipeline.analyse.effects import put
from pipeline.analyse.fits import Fitted, Models, PressureModels
from pipeline.results import ResultSet
from pipeline.settings import Settings
from pipeline.stats import Contrast

LOSSES = (0.0, 2.5, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0)
"""Losses (cmH2O at week 12, each person not retested) at which a difference is drawn."""
METHOD = "primary difference moved by delta x mean missing time, its interval with it"


def _not_retested(section: Section, found: PressureModels, settings: Settings, where: str) -> None:
    people = with_missing_time(found.rows, settings)
    for protocol in sorted(people["protocol"].unique().to_list()):
        here = people.filter(pl.col("protocol") == protocol)
        gone = here.filter(pl.col("is_lost"))
        at = f"{where};protocol={protocol}"
        section.share("not_retested", at, gone.height, here.height,
                      note="no test from the first week of the 12-week window on; some have not reached it yet")
        if gone.height:
            section.add("missing_weeks", at, n=gone.height, value=12.0 * float(str(gone["lost"].mean())), unit="weeks",
                        text="weeks of the first 12 after the last test, mean of those not retested")


def _put_tip(section: Section, at: str, made: Tip, answer: Contrast) -> None:
    held = "the interval holds 0 already" if answer.low <= 0 <= answer.high else ""
    for name, delta in (("nothing", made.to_nothing), ("doubt", made.to_doubt)):
        where = f"{at};to={name}"
        no = held if name == "doubt" and held else "no loss does that: it would widen the difference"
        if delta is None:
            section.add("tipping_loss_cmh2o", where, at=12.0, unit="cmH2O", text=no)
            continue
        section.add("tipping_loss_cmh2o", where, at=12.0, value=delta * made.per_person, unit="cmH2O", method=METHOD,
                    text="below what the model expects, at week 12, mean of the people not retested")
        section.add("tipping_slope_cmh2o", where, at=12.0, value=delta, unit="cmH2O per 12 weeks", method=METHOD,
                    text="the same as a slope after the last test")


def _pair(section: Section, gone: Lost, target: Target, fit: Fitted, answer: Contrast, where: str) -> None:
    for who in (BOTH, BETTER):
        at = f"{where}{target.suffix};who={who}"
        made = tip(gone, target, fit, answer, who)
        _put_tip(section, at, made, answer)
        if made.per_person <= 0:
            continue
        for loss in LOSSES:
            by = made.slope * loss / made.per_person
            section.add("difference_if_lost_cmh2o", at, at=loss, unit="cmH2O", value=answer.estimate + by,
                        low=answer.low + by, high=answer.high + by, method=METHOD)


def _dose(section: Section, found: PressureModels, settings: Settings, where: str) -> None:
    main = found.working("primary")
    if found.gate is None or not found.gate.answers["dose"].is_open or main is None:
        return
    people = main.people
    for who in (EVERYBODY, LESS):
        answers = dose_by_share(found, settings, who)
        at = f"{where};who={who}"
        for share, one in answers:
            put(section, "dose_if_unlogged_share_cmh2o", at, one, at=share)
        for name in ("nothing", "doubt"):
            tips = share_that_tips(answers, name == "doubt")
            if tips is None:
                section.add("tipping_unlogged_pct", f"{at};to={name}", unit="%", text="no share up to all of them does")
            elif tips == 0.0:
                section.add("tipping_unlogged_pct", f"{at};to={name}", unit="%",
                            text="so it is with none of them done already")
            else:
                section.add("tipping_unlogged_pct", f"{at};to={name}", value=tips, unit="%", n=people,
                            method="refits at every fourth part, straight lines between them")


def tipping(models: Models, settings: Settings) -> ResultSet:
    """Section "tipping"."""
    section = Section("protocols", "tipping")
    for pressure, found in models.items():
        where = group(pressure=pressure)
        fit = found.contrast_fit
        if found.gate is None or found.working("primary") is None:
            section.state("No model whose result could tip.", group=where)
            continue
        _not_retested(section, found, settings, where)
        if fit is not None and fit.look is not None and found.gate.answers["protocol"].is_open:
            gone = lost(found.rows, settings)
            for a, b in found.pairs:
                if not {a, b} <= set(fit.look.protocols):
                    continue
                answer = fit.read(found.difference(a, b, 12.0))
                if answer is not None and np.isfinite(answer.estimate):
                    _pair(section, gone, Target(DIFFERENCE, a, b), fit, answer, where)
        _dose(section, found, settings, where)
    return section.done()
