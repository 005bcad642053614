"""One analysis of the table "what if choices differ": what it is read on, what it changes, what it says."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import polars as pl

from pipeline.analyse.association import TEN_POINTS
from pipeline.analyse.baselines import CONSTRAINED, COVARIATE, baseline_beside
from pipeline.analyse.common import Array, Frames
from pipeline.analyse.fits import Fitted, PressureModels, run
from pipeline.analyse.models import Recipe
from pipeline.settings import Settings
from pipeline.stats import Contrast, UnequalFit

GAIN, DIFFERENCE, DOSE = "gain_cmh2o", "difference_cmh2o", "dose_per_10_points_cmh2o"
WEEK = 12.0


@dataclass(frozen=True)
class Target:
    """A number that every analysis is asked for: its statistic, and the two protocols where it is a difference."""

    statistic: str
    first: str = ""
    second: str = ""

    @property
    def is_pair(self) -> bool:
        """True for a difference of two protocols."""
        return bool(self.first)

    @property
    def suffix(self) -> str:
        """What the target adds to the name of a subgroup."""
        return f";protocols={self.first} - {self.second}" if self.is_pair else ""

    def weights(self, fit: Fitted, by_level: bool = False) -> Array | None:
        """Weights on the terms of a fit; None where the fit cannot be asked. by_level: see `Reader`."""
        look = fit.look
        if look is None or not fit.works:
            return None
        if self.statistic == DOSE:
            return TEN_POINTS * look.term("dose_d") if "dose_d" in look.design.names else None
        if self.statistic == GAIN:
            return None if by_level else look.gain(WEEK)
        if not {self.first, self.second} <= set(look.protocols):
            return None
        return (look.level_difference if by_level else look.difference)(self.first, self.second, WEEK)


TargetReader = Callable[[Target, Array], Contrast | None]


@dataclass(frozen=True)
class Ground:
    """What every analysis of one pressure starts from. rows: prepared, with repeatability and reason of each test."""

    found: PressureModels
    rows: pl.DataFrame
    frames: Frames
    settings: Settings
    targets: tuple[Target, ...]
    memory: dict[str, UnequalFit] = field(default_factory=dict, compare=False, repr=False)
    """Slow fits that two places need, by name."""

    @property
    def recipe(self) -> Recipe:
        """The primary model's."""
        assert self.found.gate is not None
        return self.found.gate.recipe

    def fit_for(self, target: Target) -> Fitted | None:
        """The fit that the primary answer to a target is read from."""
        return self.found.contrast_fit if target.is_pair else self.found.working("primary")

    def weights_for(self, target: Target) -> Array | None:
        """Weights of the primary answer on the terms of its fit; None where it cannot be given."""
        fit = self.fit_for(target)
        if fit is None or fit.look is None:
            return None
        return target.weights(fit, target.is_pair and self.found.handling.name == COVARIATE)

    @cached_property
    def primary(self) -> dict[Target, Contrast | None]:
        """The primary answer to every target."""
        return self.answers(lambda fit: lambda target, weights: fit.read(weights))

    def answers(self, reader_of: Callable[[Fitted], TargetReader]) -> dict[Target, Contrast | None]:
        """The answer to every target, read by what `reader_of` (called once for each fit) makes of its primary fit."""
        readers: dict[str, TargetReader] = {}
        found: dict[Target, Contrast | None] = {}
        for target in self.targets:
            fit, weights = self.fit_for(target), self.weights_for(target)
            if fit is None or weights is None:
                found[target] = None
                continue
            if fit.name not in readers:
                readers[fit.name] = reader_of(fit)
            found[target] = readers[fit.name](target, weights)
        return found


@dataclass(frozen=True)
class Reading:
    """What one analysis says: an estimate for each target it is asked for, None where it has none.

    trouble: why there is no answer at all. tests: rows behind it. apart: people of the smaller part that the rows set
    apart by name (a site, a chosen subset), to be hidden with them. is_client: one person's doing, internal only.
    facts: numbers about the analysis itself, by statistic: value and unit.
    """

    kind: str
    name: str
    found: Mapping[Target, Contrast | None] = field(default_factory=dict)
    trouble: str = ""
    tests: int | None = None
    note: str = ""
    said: str = "also"
    method: str = ""
    apart: int | None = None
    is_client: bool = False
    facts: Mapping[str, tuple[float, str]] = field(default_factory=dict)


Turn = Callable[[Ground, Target, Contrast], Contrast]
Analysis = Callable[[Ground], list[Reading]]


def failed(kind: str, name: str, ground: Ground, why: str) -> Reading:
    """The row of an analysis without an answer."""
    return Reading(kind, name, dict.fromkeys(ground.targets), trouble=why)


@dataclass(frozen=True)
class Refit:
    """An analysis that fits the primary model again with another recipe, other rows, or another outcome.

    handled: the contrast of protocols keeps the primary's handling of the baseline. turn: brings an estimate on another
    scale back to cmH2O. leaves_dose_out: the dose means something else here.
    """

    kind: str
    name: str
    recipe: Callable[[Recipe], Recipe] = lambda r: r
    rows: Callable[[Ground], pl.DataFrame] = lambda g: g.rows
    outcome: str = "value_cmh2o"
    random_sites: bool | None = None
    handled: bool = True
    by_level: bool = False
    turn: Turn | None = None
    note: str = ""
    method: str = ""
    apart: Callable[[Ground], int | None] = lambda g: None

    def __call__(self, ground: Ground) -> list[Reading]:
        """Fit and read every target."""
        rows, recipe = self.rows(ground), self.recipe(ground.recipe)
        plain = self._fit(rows, recipe, ground)
        way = ground.found.handling.name if self.handled else ""
        handled = plain
        if way == CONSTRAINED:
            handled = self._fit(rows, recipe.without("protocol"), ground)
        elif way == COVARIATE:
            handled = self._fit(_beside(rows, self.outcome), recipe.having("baseline", "baseline_slope"), ground)
        found: dict[Target, Contrast | None] = {}
        for target in ground.targets:
            if self.by_level and target.statistic == GAIN:
                continue  # a model of levels has no gain
            if target.statistic == DOSE and "dose" not in recipe.terms:
                continue
            found[target] = self._read(ground, target, handled if target.is_pair else plain,
                                       self.by_level or (target.is_pair and way == COVARIATE))
        trouble = "" if plain.works else plain.state
        return [Reading(self.kind, self.name, found, trouble, plain.rows.height, self.note, method=self.method,
                        apart=self.apart(ground))]

    def _fit(self, rows: pl.DataFrame, recipe: Recipe, ground: Ground) -> Fitted:
        return run(self.name, rows, recipe, ground.settings, outcome=self.outcome, random_sites=self.random_sites)

    def _read(self, ground: Ground, target: Target, fit: Fitted, by_level: bool) -> Contrast | None:
        weights = target.weights(fit, by_level)
        read = None if weights is None else fit.read(weights)
        return read if read is None or self.turn is None else self.turn(ground, target, read)


def _beside(rows: pl.DataFrame, outcome: str) -> pl.DataFrame:
    """The measured baseline as a column, on the scale of the outcome."""
    if outcome == "value_cmh2o":
        return baseline_beside(rows)
    first = rows.filter(pl.col("is_baseline")).select("client_key", pl.col(outcome).alias("baseline_cmh2o"))
    return baseline_beside(rows).drop("baseline_cmh2o").join(first, on="client_key", how="left", maintain_order="left")


def moved(found: Contrast, by: float) -> Contrast:
    """An estimate and its interval moved by a known amount; its test is not told."""
    nothing = float("nan")
    return replace(found, estimate=found.estimate + by, low=found.low + by, high=found.high + by, t=nothing, p=nothing)


def primary(ground: Ground) -> list[Reading]:
    """The primary analysis itself: gain and dose by the primary model, contrasts by its handling of the baseline."""
    fit = ground.found.working("primary")
    tests = fit.rows.height if fit is not None else None
    return [Reading("primary", "primary", ground.primary, tests=tests, said="primary",
                    note=f"baseline {ground.found.handling.name}: {ground.found.handling.why}")]


def shared(kind: str, name: str, fit_name: str, by_level: bool = False) -> Analysis:
    """An analysis that reads the protocols' differences from a fit made already for all sections."""

    def read(ground: Ground) -> list[Reading]:
        fit = ground.found.fits.get(fit_name)
        pairs = [t for t in ground.targets if t.is_pair]
        if fit is None or not pairs:
            return []
        found: dict[Target, Contrast | None] = {}
        for target in pairs:
            weights = target.weights(fit, by_level)
            found[target] = None if weights is None else fit.read(weights)
        return [Reading(kind, name, found, "" if fit.works else fit.state, fit.rows.height)]

    return read
