"""The models of one pressure from the sums of an engine: the same gate, the same models, no row.

Every number is that of the fit from rows (tests/engines/test_models.py holds them to 1e-8).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import polars as pl

from pipeline.analyse.baselines import handling_of
from pipeline.analyse.contrasts import Reader, reader_of
from pipeline.analyse.fits import DOSE, TOO_FEW, Companion, Fitted, PressureModels, companions
from pipeline.analyse.gate import Measured, Pairs, assumed_spread, gate_of, measured
from pipeline.analyse.models import Built, Recipe, build, without_single
from pipeline.analyse.sums_design import SummedDesign, summed_design
from pipeline.analyse.sums_parts import Ground, Part, added, with_outcome
from pipeline.analyse.sums_rows import (
    AGE,
    Known,
    Summing,
    median,
    mixes,
    people_of,
    prepared_rows,
    rare,
    tests_of,
    values_of,
)
from pipeline.analyse.who import FEWEST, Who
from pipeline.settings import Settings
from pipeline.stats import CannotFit
from pipeline.stats.elsewhere import fit_from_sums
from pipeline.stats.planned import planned_from_sums
from pipeline.stats.sums_outer import added_up, alone, mapped

NO_ROWS = pl.DataFrame(schema={"client_key": pl.String, "tested_on": pl.Date, "time12": pl.Float64,
                               "dose_d": pl.Float64})  # fmt: skip


def _look(design: SummedDesign, part: Part, built: Built) -> Reader:
    return reader_of(part.who, part.rates, design.frame, built, design.design)


def _measure(ground: Ground, recipe: Recipe, pairs: Pairs) -> Measured:
    """Detectable differences and block VIFs of one recipe: see `gate.measured`."""
    part = ground.part(recipe.needs())
    if part.who.people < FEWEST:
        return {}, {}
    recipe = without_single(recipe, part.single)
    built = build(recipe, ground.settings)
    design = summed_design(built, part.who, with_time="site_slope" in recipe.terms)
    sums = ground.sums(design, part, built)
    psi, sem = assumed_spread(ground.pressure, ground.settings)
    columns = slice(0, len(design.summed))
    parts = [(planned_from_sums(alone(sums, place), psi, sem, columns), design.at_site(site))
             for place, site in enumerate(part.who.levels("site"))]
    return measured(_look(design, part, built), added_up(parts), recipe, pairs)


def run(
    ground: Ground, name: str, recipe: Recipe, *, needs: Iterable[str] = (), dose: str = DOSE, also: str = ""
) -> Fitted:  # fmt: skip
    """Fit one recipe as `fits.run` does. needs: columns that must be known beside its own; also: a condition."""
    part = ground.part({*recipe.needs(), *needs}, dose, also)
    return _run(ground, name, recipe, part)


def _run(ground: Ground, name: str, recipe: Recipe, part: Part) -> Fitted:
    recipe = without_single(recipe, part.single) if part.who.people else recipe
    many = len(part.who.levels("site")) >= ground.settings.sites_random_from
    built = build(recipe, ground.settings, random_sites=many)
    none = Fitted(name, NO_ROWS, built, counted=part.who)
    if part.who.people < FEWEST:
        return replace(none, trouble=TOO_FEW)
    try:
        return _fitted(ground, none, recipe, part)
    except CannotFit as fault:
        if recipe.client != "1":
            return _run(ground, name, replace(recipe, client="1"), part)
        return replace(none, trouble=f"cannot be fitted: {fault}")


def _fitted(ground: Ground, none: Fitted, recipe: Recipe, part: Part) -> Fitted:
    built, sites = none.built, [*part.who.levels("site")]
    design = summed_design(built, part.who, with_time="site_slope" in recipe.terms)
    sums = ground.sums(design, part, built)
    if len(built.model.varies) == 2:
        outer = design.outer(built.model.varies[1].terms)
        change = with_outcome(np.hstack([outer, design.at_site("")]))
        sums = mapped(sums, [change] * len(sites), outer.shape[1])
    else:
        sums = mapped(sums, [with_outcome(design.at_site(site)) for site in sites])
    names = design.design.names
    fit = fit_from_sums(sums, built.model, names, centres=[0.0] * len(names) + [part.mean])
    return replace(none, look=_look(design, part, built), sums=fit.light())


def _known(engine: Summing, source: str) -> Known:
    age, efforts = (median(engine.ask(values_of(c, source))) for c in ("age_years", "efforts_kept"))
    sexes, conditions = (tuple(rare(engine.ask(people_of(c, source)))) for c in ("sex", "condition_group"))
    return Known(age or AGE, efforts or 0.0, sexes, conditions)


def _unused(ground: Ground, needs: list[str]) -> tuple[int, int]:
    """Tests where something of `needs` is not known, and the people whose they are."""
    if not needs:
        return 0, 0
    lost = " or ".join(f"r.{c} is null" for c in needs)
    found = ground.engine.ask(f"select count(*) as n, count(distinct r.client_key) as people from {ground.table} as r "
                              f"where {lost}").sum()
    return int(found["n"][0]), int(found["people"][0])


def fit_pressure_from_sums(
    engine: Summing, pressure: str, quarter: str, settings: Settings, *, consented_only: bool = False,
    whole: bool = True,
) -> PressureModels:  # fmt: skip
    """The gate, the primary model and its companions as `fits.fit_pressure` gives them, but for those with a part of
    the learning curve taken off, which stand on a page of rows. Without `whole`: no companions."""
    source, table = tests_of(pressure, quarter, consented_only=consented_only), f"sums.{pressure}"
    engine.make(table, prepared_rows(source, _known(engine, source)))
    ground = Ground(engine, table, pressure, settings)
    who = Who(added(engine.ask(mixes(f"{table} as r"))))
    if who.people < FEWEST:
        return PressureModels(pressure, NO_ROWS, None)
    rated = int(engine.ask(f"select count(*) as n from {table} as r where r.effort_e is not null")["n"].sum())
    found = gate_of(who, rated, pressure, settings, lambda recipe, pairs: _measure(ground, recipe, pairs))
    assigned = added(engine.ask("select r.assigned_by as label, count(distinct r.client_key) as people "
                                 f"from {table} as r group by r.assigned_by"))
    how = handling_of(dict(assigned.iter_rows()), settings)
    fits = {"primary": run(ground, "primary", found.recipe)} | {
        each.name: _companion(ground, each, found.recipe) for each in (companions(found.recipe) if whole else ())}
    return PressureModels(pressure, NO_ROWS, found, fits, how,
                          unused=_unused(ground, found.recipe.needs()))


def _companion(ground: Ground, each: Companion, primary: Recipe) -> Fitted:
    return run(ground, each.name, each.recipe, needs=primary.needs() if each.of_primary else (), dose=each.dose,
               also="not r.is_baseline" if each.after_baseline else "")
