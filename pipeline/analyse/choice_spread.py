"""The same estimates with another spread or another standard error: variance models, CR2, the bootstrap of people."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pipeline.analyse.choice import Ground, Reading, TargetReader, failed
from pipeline.analyse.common import Array
from pipeline.analyse.fits import Fitted
from pipeline.stats import (
    CannotFit,
    Contrast,
    MixedFit,
    UnequalFit,
    cluster_bootstrap,
    fit_by_group,
    fit_by_power,
    robust_contrast,
)
from pipeline.stats.held import held_draws
from pipeline.stats.robust import robust

Reader = Callable[[Array], Contrast | None]
NOT_TOLD = float("nan")


@dataclass(frozen=True)
class Reread:
    """An analysis that keeps the primary's mean and reads its contrasts by `reader_of` (called once for each fit)."""

    kind: str
    name: str
    reader_of: Callable[[Fitted, Ground], Reader]
    method: str = ""

    def __call__(self, ground: Ground) -> list[Reading]:
        """Read every target."""
        def reader_of(fit: Fitted) -> TargetReader:
            read = self.reader_of(fit, ground)
            return lambda target, weights: read(weights)

        try:
            found = ground.answers(reader_of)
        except CannotFit as why:
            return [failed(self.kind, self.name, ground, str(why))]
        main = ground.found.working("primary")
        tests = main.rows.height if main is not None else None
        return [Reading(self.kind, self.name, found, tests=tests, method=self.method)]


def by_people(fit: Fitted, ground: Ground) -> Reader:
    """CR2 standard errors, clusters the outermost grouping of the model."""
    del ground
    assert fit.fit is not None
    inner = fit.fit
    made = robust(inner)
    return lambda weights: robust_contrast(inner, weights, made=made)


def by_draws(fit: Fitted, ground: Ground) -> Reader:
    """Percentile interval of a bootstrap of whole people, variances held; draws and seed by the settings.

    Where people lie within sites that are random, each draw is a whole refit.
    """
    assert fit.fit is not None
    inner, seed, draws = fit.fit, ground.settings.seed, ground.settings.bootstrap_draws
    kept = list(inner.solved.basis.kept)
    beta = (held_draws(inner, seed, draws) if len(inner.model.varies) == 1 else
            cluster_bootstrap(inner, seed, draws, inner.model.varies[0].by).beta)
    return lambda weights: from_draws(float(inner.beta[kept] @ weights[kept]), beta @ weights[kept])


def from_draws(estimate: float, draws: Array) -> Contrast | None:
    """Estimate with the SD of its draws and their 2.5 and 97.5 % points; None where under half of them could be fit."""
    seen = draws[np.isfinite(draws)]
    if 2 * seen.size < draws.size or seen.size < 2:
        return None
    low, high = np.quantile(seen, (0.025, 0.975))
    return Contrast(estimate, float(seen.std(ddof=1)), NOT_TOLD, float(low), float(high), NOT_TOLD, NOT_TOLD)


POWER_STILL = 1e-4
"""Move of the power at which it counts as found: a table prints two decimals."""


def power_model(fit: Fitted, ground: Ground) -> UnequalFit:
    """The fit with a residual SD that grows as a power of the fitted level; made once."""
    assert fit.look is not None
    name = f"power {fit.name}"
    if name not in ground.memory:
        ground.memory[name] = fit_by_power(fit.look.frame, fit.built.model, still=POWER_STILL)
    return ground.memory[name]


def _of(made: UnequalFit) -> Reader:
    inner: MixedFit = made.fit

    def read(weights: Array) -> Contrast | None:
        found = inner.contrast(weights)
        return found if isinstance(found, Contrast) and np.isfinite([found.low, found.high]).all() else None

    return read


def by_power(fit: Fitted, ground: Ground) -> Reader:
    """Residual SD that grows with the level."""
    return _of(power_model(fit, ground))


def by_site(fit: Fitted, ground: Ground) -> Reader:
    """One residual SD for each site."""
    del ground
    assert fit.look is not None
    return _of(fit_by_group(fit.look.frame, fit.built.model, "site"))
