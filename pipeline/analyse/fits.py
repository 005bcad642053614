"""The fits of a run, made once and shared by every section: the primary model and its companions for each pressure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import polars as pl

from pipeline.analyse.baselines import COVARIATE, FIT_OF, Handling, baseline_beside, handling
from pipeline.analyse.common import PRESSURES, Array, Frames
from pipeline.analyse.contrasts import Reader, centred, reader
from pipeline.analyse.design import prepared
from pipeline.analyse.gate import Gate, gate
from pipeline.analyse.models import Built, Recipe, build, varying_terms
from pipeline.analyse.repeats import Repeats, repeats
from pipeline.analyse.who import FEWEST, Who, who_of
from pipeline.reference.learning import learned_cmh2o
from pipeline.settings import Settings
from pipeline.stats import CannotFit, Contrast, MixedFit, fit_mixed
from pipeline.stats.reading import Reading

TOO_FEW = "cannot be fitted: fewer than three people have what it needs"


@dataclass(frozen=True)
class Fitted:
    """One fit, or the plain words why there is none. `rows` are those that it used, prepared.

    A fit from sums has no rows: `sums` holds it, and `counted` the people behind it (see fit_from_sums).
    """

    name: str
    rows: pl.DataFrame
    built: Built
    look: Reader | None = None
    fit: MixedFit | None = None
    trouble: str = ""
    sums: Reading | None = None
    counted: Who | None = None

    @property
    def reading(self) -> Reading | None:
        """What estimates are read from, however it was fitted."""
        return self.sums if self.fit is None else self.fit

    @property
    def state(self) -> str:
        """The state of the fit in plain words."""
        return self.trouble if self.reading is None else self.reading.state

    @property
    def works(self) -> bool:
        """True where estimates may be read."""
        return self.reading is not None and self.reading.state_kind in ("interior", "variance zero")

    @cached_property
    def who(self) -> Who:
        """The people in the fit, as counts."""
        return who_of(self.rows) if self.counted is None else self.counted

    @property
    def people(self) -> int:
        """People in the fit."""
        return self.rows["client_key"].n_unique() if self.counted is None else self.counted.people

    @property
    def tests(self) -> int:
        """Tests in the fit."""
        return self.rows.height if self.counted is None else self.counted.tests

    def read(self, weights: Array, level: float = 0.95) -> Contrast | None:
        """A contrast with its interval; None where the fit or the design cannot give it."""
        if not self.works or self.reading is None:
            return None
        try:
            found = self.reading.contrast(weights, level)
        except CannotFit:
            return None
        return found if isinstance(found, Contrast) and np.isfinite([found.low, found.high]).all() else None

    def term(self, name: str, scale: float = 1.0) -> Contrast | None:
        """The contrast of one term times a scale; None where the model has no such term."""
        if self.look is None or name not in self.look.design.names:
            return None
        return self.read(scale * self.look.term(name))


def run(
    name: str, rows: pl.DataFrame, recipe: Recipe, settings: Settings, *, outcome: str = "value_cmh2o",
    random_sites: bool | None = None,
) -> Fitted:  # fmt: skip
    """Fit one recipe on the rows that have all it needs. Never raises for data: `trouble` says what is wrong."""
    usable = rows.drop_nulls([*recipe.needs(), outcome])
    many = usable["site"].n_unique() >= settings.sites_random_from if random_sites is None else random_sites
    recipe = varying_terms(recipe, usable) if usable.height else recipe
    built = build(recipe, settings, random_sites=many, outcome=outcome)
    if usable["client_key"].n_unique() < FEWEST:
        return Fitted(name, usable, built, trouble=TOO_FEW)
    try:
        frame = centred(usable, built)
        fit = fit_mixed(frame, built.model)
    except CannotFit as fault:
        simpler = replace(recipe, client="1")
        if recipe.client != "1":
            return run(name, rows, simpler, settings, outcome=outcome, random_sites=random_sites)
        return Fitted(name, usable, built, trouble=f"cannot be fitted: {fault}")
    return Fitted(name, usable, built, reader(usable, frame, built, fit.rows.x), fit)


def with_lead(rows: pl.DataFrame) -> pl.DataFrame:
    """Add lead_dose: the dose of the interval AFTER a test, less the client's mean share, in 12-week units.

    Null at the last test, where no later interval is known.
    """
    rows = rows.sort("client_key", "tested_on")
    mean = pl.col("interval_adherence").mean().over("client_key")
    ahead = pl.col("interval_adherence").shift(-1).over("client_key")
    weeks = pl.col("interval_weeks").shift(-1).over("client_key")
    return rows.with_columns(((ahead - mean) * weeks / 12.0).alias("lead_dose"))


@dataclass(frozen=True)
class PressureModels:
    """Everything fitted for one pressure. `fits` by name: see `fit_pressure`."""

    pressure: str
    rows: pl.DataFrame
    gate: Gate | None
    fits: dict[str, Fitted] = field(default_factory=dict)
    handling: Handling = field(default_factory=Handling)
    repeats: Repeats | None = None
    unused: tuple[int, int] | None = None

    @property
    def without_dose(self) -> tuple[int, int]:
        """Tests that the primary model cannot use, and their people. `unused`: the same, counted before."""
        if self.unused is not None or self.primary is None:
            return self.unused or (0, 0)
        lost = self.rows.join(self.primary.rows, on=["client_key", "tested_on"], how="anti")
        return lost.height, lost["client_key"].n_unique()

    @property
    def primary(self) -> Fitted | None:
        """The primary model, or None where there are no rows at all."""
        return self.fits.get("primary")

    def working(self, name: str) -> Fitted | None:
        """The fit of that name if its estimates may be read."""
        found = self.fits.get(name)
        return found if found is not None and found.works else None

    @property
    def contrast_fit(self) -> Fitted | None:
        """The working fit that contrasts of protocols are read from: by the handling of the baseline."""
        return self.working(FIT_OF[self.handling.name])

    def difference(self, first: str, second: str, week: float) -> Array:
        """Weights of the difference of two protocols at a week on the terms of `contrast_fit`."""
        fit = self.contrast_fit
        if fit is None or fit.look is None:
            raise ValueError("no fit to read a contrast from")
        by_level = self.handling.name == COVARIATE
        return (fit.look.level_difference if by_level else fit.look.difference)(first, second, week)

    @property
    def pairs(self) -> list[tuple[str, str]]:
        """Pairs of protocols that may be compared: both separable from a site."""
        if self.gate is None:
            return []
        names = [p for p in sorted(self.gate.past_12_weeks) if p not in self.gate.inseparable]
        return [(a, b) for k, a in enumerate(names) for b in names[k + 1 :]]


Models = Mapping[str, PressureModels]


LEARNING = {"half": 0.5, "full": 1.0}
"""Shares of the published learning curve that are taken off; none of it is the primary model."""


def learned(rows: pl.DataFrame) -> pl.Series:
    """Rise of MIP by learning alone at each test, in cmH2O: of those whose baseline was their first test ever."""
    counts = rows["test_no"].cast(pl.Int64).clip(1, None).to_list()
    naive = rows["first_ever"].fill_null(False).to_list()
    return pl.Series("learned", [learned_cmh2o(k) if new else 0.0 for k, new in zip(counts, naive, strict=True)])


def fit_primary(model_frame: pl.DataFrame, pressure: str, settings: Settings) -> PressureModels:
    """Gate first, from the design; then the primary model (the rung's) alone, for those who read nothing else."""
    rows = with_lead(prepared(model_frame, pressure))
    if rows["client_key"].n_unique() < FEWEST:
        return PressureModels(pressure, rows, None)
    found = gate(rows, pressure, settings)
    fits = {"primary": run("primary", rows, found.recipe, settings)}
    return PressureModels(pressure, rows, found, fits, handling(rows, settings))


DOSE = "dose_d"


@dataclass(frozen=True)
class Companion:
    """A model beside the primary one. of_primary: on the rows of that one; dose: the column in the place of D;
    after_baseline: on later tests only, the measured baseline beside them."""

    name: str
    recipe: Recipe
    of_primary: bool = False
    dose: str = DOSE
    after_baseline: bool = False


def companions(recipe: Recipe) -> list[Companion]:
    """The companions of a primary model that has this recipe; those of equal rows stand together."""
    compares = bool({"protocol_time", "protocol_slope"} & set(recipe.terms))
    found = [Companion("same_baseline", recipe.without("protocol"))] if compares else []
    if "dose" in recipe.terms:
        split = recipe.without("dose").having("between", "within")
        found += [
            Companion("dose_alone", recipe.without("effort"), of_primary=True),
            Companion("parts", split, of_primary=True),
            Companion("lead", recipe.having("lead"), of_primary=True),
            Companion("unlogged_none", recipe, dose="dose_d_low"),
            Companion("unlogged_done", recipe, dose="dose_d_high"),
        ]
    if compares:
        beside = recipe.having("baseline", "baseline_slope")
        found.append(Companion("baseline_covariate", beside, after_baseline=True))
    return [*found, Companion("as_delivered", recipe.without("dose", "effort"))]


def fit_pressure(model_frame: pl.DataFrame, pressure: str, settings: Settings) -> PressureModels:
    """The primary model and its companions, by name.

    primary (the rung's model) · same_baseline, baseline_covariate (it with another handling of the baseline; only if
    protocols are compared) · as_delivered (no dose or effort: all rows) · dose_alone (no effort, the rows of
    primary) · parts (between and within in place of dose) · lead (primary and the next interval's dose) ·
    unlogged_none, unlogged_done (bounds of the dose) · for MIP learning_half, learning_full (that part of the fixed
    learning curve taken off the tests of those whose baseline was their first test ever).
    """
    alone = fit_primary(model_frame, pressure, settings)
    if alone.gate is None:
        return alone
    rows, recipe = alone.rows, alone.gate.recipe
    fits = dict(alone.fits)
    for each in companions(recipe):
        used = rows.drop_nulls(recipe.needs()) if each.of_primary else rows
        used = baseline_beside(used) if each.after_baseline else used
        fits[each.name] = run(each.name, used.with_columns(pl.col(each.dose).alias(DOSE)), each.recipe, settings)
    if pressure == "mip":  # no learning curve is held for MEP
        for name, share in LEARNING.items():
            less = rows.with_columns((pl.col("value_cmh2o") - share * learned(rows)).alias("value_cmh2o"))
            fits[f"learning_{name}"] = run(f"learning_{name}", less, recipe, settings)
    return replace(alone, fits=fits)


def fit_models(frames: Frames, settings: Settings) -> dict[str, PressureModels]:
    """Fit all that the sections share, for MIP and for MEP; and read the measurement error from repeat tests."""
    return {p: replace(fit_pressure(frames["model"], p, settings), repeats=repeats(frames["test_days"], p, settings))
            for p in PRESSURES}  # fmt: skip


def fit_primaries(frames: Frames, settings: Settings) -> dict[str, PressureModels]:
    """Fit the primary models alone, for MIP and for MEP."""
    return {p: fit_primary(frames["model"], p, settings) for p in PRESSURES}
