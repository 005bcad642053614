"""What if choices differ: a fixed list of other analyses, all of them shown, the failed ones included."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import polars as pl

from pipeline.analyse import choice_rows as rows_of
from pipeline.analyse.baselines import FIT_OF
from pipeline.analyse.choice import (
    DIFFERENCE,
    DOSE,
    GAIN,
    Analysis,
    Ground,
    Reading,
    Refit,
    Target,
    failed,
    primary,
    shared,
)
from pipeline.analyse.choice_spread import Reread, by_draws, by_people, by_power, by_site, power_model
from pipeline.analyse.common import Frames, Section, group
from pipeline.analyse.conclusions import changes, conclusion, worthwhile
from pipeline.analyse.dropout import fallen
from pipeline.analyse.effects import KR, put
from pipeline.analyse.fits import Models, PressureModels
from pipeline.analyse.influence import influences, one_person, sites_left_out
from pipeline.analyse.models import Recipe
from pipeline.analyse.post_hoc import asked_of, readings
from pipeline.analyse.retested import by_retesting
from pipeline.analyse.weighting import weighted
from pipeline.results import ResultSet
from pipeline.settings import Settings
from pipeline.stats import CannotFit


def _timed(words: str, form: str) -> Refit:
    return Refit("time form", words, lambda r: replace(r, time=form))


def _dose_as(words: str, column: str) -> Refit:
    return Refit("dose told otherwise", words, rows=lambda g: g.rows.with_columns(rows_of.bounded(column)))


def _learning(words: str, name: str) -> Analysis:
    refit = Refit("learning", words, rows=lambda g: rows_of.less_learning(g, name))

    def read(ground: Ground) -> list[Reading]:
        if ground.found.pressure == "mip":
            return refit(ground)
        return [failed("learning", words, ground, "no learning curve is held for this pressure")]

    return read


def _without_effort(recipe: Recipe) -> Recipe:
    return recipe.without("effort")


def _scheduled(ground: Ground) -> pl.DataFrame:
    return ground.rows.filter(pl.col("is_baseline") | (pl.col("test_reason") == "scheduled").fill_null(False))


CHOICES: tuple[Analysis, ...] = (
    primary,
    shared("baseline", "unconstrained: each protocol its own", FIT_OF["unconstrained"]),
    shared("baseline", "the measured baseline as a covariate", FIT_OF["covariate"], by_level=True),
    shared("baseline", "constrained: one for all protocols", FIT_OF["constrained"]),
    Refit("dose told otherwise", "as delivered: dose and effort left out", lambda r: r.without("dose", "effort")),
    Refit("dose told otherwise", "dose without effort", _without_effort, rows_of.known_dose),
    _dose_as("unlogged weeks as none done", "dose_d_low"), _dose_as("unlogged weeks as fully done", "dose_d_high"),
    _learning("half of learning taken off", "half"), _learning("all of learning taken off", "full"),
    _timed("straight line", "linear"), _timed("square root of weeks", "root"), _timed("logarithm of weeks", "log"),
    _timed("spline, 2 df", "spline 2"), _timed("spline, 4 df", "spline 4"),
    Refit("random part", "intercept only", lambda r: replace(r, client="1")),
    Refit("random part", "site x time, fixed", lambda r: r.having("site_slope")),
    Refit("random part", "site and its slope, random", lambda r: r.having("site_slope"), random_sites=True),
    Reread("random part", "residual SD of each site", by_site),
    Reread("random part", "residual SD grows with the level", by_power),
    Reread("standard errors", "CR2, by whole people", by_people,
           "cluster-robust CR2 with Satterthwaite df; clusters: people, or sites where these are random"),
    Reread("standard errors", "bootstrap of whole people", by_draws,
           "percentile interval, variances held in the draws"),
    Refit("exposure", "dose up to the test before", rows=rows_of.lagged),
    Refit("exposure", "dose of the last four weeks", rows=rows_of.trailing),
    Refit("exposure", "dose in the effort band only", _without_effort, rows_of.in_band),
    Refit("exposure", "time at 80 % of the plan or more", rows=rows_of.by_plan, turn=rows_of.per_ten_points,
          method="its coefficient over the gap between the shares done of the two kinds of intervals"),
    Refit("confounders", "illness before the test", lambda r: r.having("illness"),
          lambda g: rows_of.with_health(g.rows, g.frames)),
    Refit("confounders", "stable health and its slope", lambda r: r.having("health"),
          lambda g: rows_of.with_health(g.rows, g.frames)),
    Refit("confounders", "dose of the next interval (lead test)", lambda r: r.having("lead")),
    weighted,
    fallen,
    by_retesting,
    Refit("tests", "repeatable tests only (20 %)", rows=lambda g: g.rows.filter(pl.col("is_rep20").fill_null(False))),
    Refit("tests", "scheduled tests only", rows=_scheduled),
    Refit("tests", "same manometer label as at the baseline", rows=rows_of.same_label),
    Refit("scale", "logarithm of pressure", rows=rows_of.with_log, outcome="log_value", turn=rows_of.from_log,
          method="turned back to cmH2O at the geometric mean pressure"),
    Refit("scale", "% of predicted", rows=rows_of.with_percent, outcome="pct_value", turn=rows_of.from_predicted,
          method="turned back to cmH2O at the mean predicted pressure"),
    sites_left_out,
)  # fmt: skip
"""Every analysis, in the order of the table. The list is fixed before results are seen."""


def targets_of(found: PressureModels) -> tuple[Target, ...]:
    """What every analysis is asked for: the questions that the gate leaves open."""
    assert found.gate is not None
    asked = [Target(GAIN)]
    main = found.working("primary")
    if found.gate.answers["protocol"].is_open and main is not None and main.look is not None:
        asked += [Target(DIFFERENCE, a, b) for a, b in found.pairs if {a, b} <= set(main.look.protocols)]
    if found.gate.answers["dose"].is_open and "dose" in found.gate.recipe.terms:
        asked.append(Target(DOSE))
    return tuple(asked)


def ground_of(found: PressureModels, frames: Frames, settings: Settings) -> Ground:
    """What every analysis of one pressure starts from."""
    rows = rows_of.with_test_facts(found.rows, frames, found.pressure)
    return Ground(found, rows, frames, settings, targets_of(found))


def _least(target: Target, ground: Ground) -> float | None:
    return worthwhile(target, ground.found.pressure, ground.settings)


def _add(section: Section, reading: Reading, ground: Ground, where: str) -> list[Target]:
    """Add the rows of one analysis; return the targets on which it concludes otherwise than the primary one."""
    otherwise = []
    name = f"{where};kind={reading.kind};choice={reading.name}"
    # tests, not people: choices that leave a handful of people out would give them away beside the primary count
    fields: dict[str, Any] = {"n": reading.tests, "n_of": "tests", "n_people": reading.apart}
    if reading.is_client:
        fields["klass"] = "client"
    for statistic, (value, unit) in reading.facts.items():
        section.add(statistic, name, value=value, unit=unit, n_of="tests", n_people=reading.apart)
    for target, found in reading.found.items():
        at = None if target.statistic == DOSE else 12.0
        if found is None:
            # the reason stands in the text, which goes where a small part is hidden: a note would stay
            why = f"did not fit: {reading.trouble}" if reading.trouble else "this analysis cannot give it"
            section.add(target.statistic, name + target.suffix, at=at, unit="cmH2O", text=why, note=reading.note,
                        n_of="tests", n_people=reading.apart, klass="client" if reading.is_client else "aggregate")
            continue
        put(section, target.statistic, name + target.suffix, found, at=at, text=reading.said, note=reading.note,
            **({"method": reading.method or KR} | fields))
        main = ground.primary[target]
        said = changes(found, main, _least(target, ground)) if main is not None else []
        if said and reading.said != "primary":
            otherwise.append(target)
            section.add("changes", f"{name};of={target.statistic}{target.suffix}", text="; ".join(said),
                        n_people=reading.apart, klass="client" if reading.is_client else "aggregate")
    return otherwise


def _influence(section: Section, ground: Ground, where: str) -> Reading:
    """Single people: who moves an answer most (internal), and how many move it by more than a standard error."""
    found = influences(ground)
    for target, one in found.items():
        of = f"{where};of={target.statistic}{target.suffix}"
        if one is None:
            section.add("influence_past_1_se", of, text="no primary answer to move")
            continue
        section.add("influence_most_se", f"{one.client_key};{of}", value=one.move, unit="SE", klass="client",
                    method="change of the estimate without this person, in its standard errors")
        section.add("influence_past_1_se", of, n=one.past_one, text="people who move it by more than one SE")
        section.add("influence_tipping", of, n=one.tipping, text="people without whom the conclusion changes")
    return one_person(found, ground)


def _variance(section: Section, ground: Ground, where: str) -> None:
    """The test of a residual SD that grows with the level of pressure."""
    main = ground.found.working("primary")
    assert main is not None
    try:
        made = power_model(main, ground)
    except CannotFit as why:
        section.add("variance_power", where, unit="power", text="did not fit", note=str(why))
        return
    section.add("variance_power", where, value=float(made.parameters["power"].item()), unit="power",
                method="residual SD proportional to the fitted level to this power; 0: the same at every level")
    section.add("variance_power_p", where, value=made.p, unit="p", method="likelihood ratio, 1 df")


def _conclusions(section: Section, ground: Ground, where: str, read: Sequence[tuple[Reading, list[Target]]]) -> None:
    """For each target the primary conclusion, and how many of the planned analyses that answered conclude otherwise."""
    for target in ground.targets:
        main = ground.primary[target]
        of = f"{where};of={target.statistic}{target.suffix}"
        if main is None:
            section.add("conclusion", of, text="no primary answer")
            continue
        planned = [(r, o) for r, o in read if r.said == "also" and not r.is_client and r.found.get(target) is not None]
        section.add("conclusion", of, value=float(sum(target in o for _, o in planned)), unit="analyses",
                    n=len(planned), n_of="analyses", text=conclusion(main, _least(target, ground)))


def choices(frames: Frames, models: Models, settings: Settings) -> ResultSet:
    """Section "choices": every row of CHOICES, in that order; then those asked for later, marked post hoc."""
    section = Section("protocols", "choices")
    for pressure, found in models.items():
        where = group(pressure=pressure)
        if found.gate is None or found.gate.rung == "R4" or found.working("primary") is None:
            section.state("Too few people for other models beside the primary one.", group=where)
            continue
        ground = ground_of(found, frames, settings)
        read = []
        for analysis in CHOICES:
            for reading in analysis(ground):
                read.append((reading, _add(section, reading, ground, where)))
        _add(section, _influence(section, ground, where), ground, where)
        for reading in readings(ground, asked_of(frames)):
            _add(section, reading, ground, where)
        _variance(section, ground, where)
        _conclusions(section, ground, where, read)
    return section.done()
