"""Residual variance that differs between groups of rows, or grows with the fitted level; and whether that is needed.

Pinheiro and Bates 2000, Mixed-Effects Models in S and S-PLUS, section 5.2 (varIdent, varPower). The rows are divided
by their relative SD, so the engine is the same; -2 log-likelihood gains 2 sum log(relative SD). Standard errors take
the estimated relative SDs as known.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from pipeline.stats.boundary import solve
from pipeline.stats.mixed import MixedFit, assembled, fit_mixed
from pipeline.stats.model import CannotFit, Method, MixedModel
from pipeline.stats.modes import modes
from pipeline.stats.optimum import walk

Array = NDArray[np.float64]


@dataclass(frozen=True)
class UnequalFit:
    """fit: the mixed model with its rows divided by their relative SD (its residual_sd is of relative SD 1).

    parameters: by group each level's relative SD (the first level is 1) and residual_sd in outcome units; or the power.
    statistic, df, p: likelihood ratio against equal variances.
    """

    fit: MixedFit
    equal: MixedFit
    parameters: pl.DataFrame
    statistic: float
    df: int
    p: float


def _scaled_criterion(equal: MixedFit, log_sd: Array, start: Array) -> tuple[float, Array]:
    """-2 log-likelihood (standardised) with rows of these log relative SDs (n,), and theta there."""
    shape, tilt = equal.solved.shape, equal.solved.found.tilt
    # relative to their geometric mean: theta stays near its start, and 2 sum log(relative SD) is 0
    relative = np.exp(log_sd - log_sd.mean())
    found = walk(equal.standard.divided(relative).sums(equal.rows), shape, equal.solved.reml, start, tilt)
    return found.value, found.theta


def _search(equal: MixedFit, log_sd_of: Callable[[Array], Array], begin: Array) -> Array:
    """Parameters of the relative SDs with the lowest criterion, by BFGS with central differences."""
    from scipy.optimize import minimize

    start = equal.solved.found.theta

    def value(parameters: Array) -> float:
        return _scaled_criterion(equal, log_sd_of(parameters), start)[0]

    def gradient(parameters: Array) -> Array:
        step = 1e-4
        return np.array(
            [(value(parameters + step * e) - value(parameters - step * e)) / (2 * step) for e in np.eye(len(begin))]
        )

    return np.asarray(minimize(value, begin, jac=gradient, method="BFGS", options={"gtol": 1e-5}).x)


def _finished(equal: MixedFit, log_sd: Array, parameters: pl.DataFrame, df: int) -> UnequalFit:
    standard = equal.standard.divided(np.exp(log_sd))
    sums, shape = standard.sums(equal.rows), equal.solved.shape
    solved = solve(sums, shape, equal.solved.basis, equal.solved.reml, "drop")
    fit = assembled(solved, equal.model, equal.method, equal.df_method, "drop", equal.rows, standard)
    fit = replace(fit, log_likelihood=fit.log_likelihood - float(log_sd.sum()))
    statistic = max(0.0, 2.0 * (fit.log_likelihood - equal.log_likelihood))
    return UnequalFit(fit, equal, parameters, statistic, df, float(special.chdtrc(df, statistic)))


def fit_by_group(frame: pl.DataFrame, model: MixedModel, by: str, method: Method = "reml") -> UnequalFit:
    """One residual SD per level of the column `by` (varIdent)."""
    equal = fit_mixed(frame, model, method)
    if by not in frame.columns:
        raise CannotFit(f"There is no column {by!r} to give each level its own residual SD.")
    levels = frame[by].unique().sort().to_list()
    if len(levels) < 2:
        raise CannotFit(f"{by!r} has one level in these rows; one residual SD is all there is.")
    position = {value: i for i, value in enumerate(levels)}
    level = np.array([position[v] for v in frame[by].to_list()])[equal.rows.order]
    if np.bincount(level, minlength=len(levels)).min() < 3:
        raise CannotFit(f"A level of {by!r} has fewer than 3 rows; join levels before giving each its own residual SD.")

    def log_sd_of(parameters: Array) -> Array:
        return np.asarray(np.append(0.0, parameters)[level])

    found = _search(equal, log_sd_of, np.zeros(len(levels) - 1))
    relative = np.exp(np.append(0.0, found))
    made = _finished(equal, log_sd_of(found), pl.DataFrame(), len(levels) - 1)
    table = pl.DataFrame({by: levels, "relative_sd": relative, "residual_sd": relative * made.fit.residual_sd})
    return replace(made, parameters=table)


def fitted_levels(fit: MixedFit, kind: Literal["conditional", "marginal"] = "conditional") -> Array:
    """Fitted level of each sorted row (n,), outcome units: with the groups' own terms, or of the mean alone."""
    kept = list(fit.solved.basis.kept)
    mean = fit.rows.x.values[:, kept] @ fit.beta[kept]
    if kind == "marginal":
        return np.asarray(mean)
    found = modes(fit.solved.found.point).mode[fit.rows.inner_of]
    q, basis = fit.solved.shape.q, fit.solved.basis
    own = np.einsum("ni,ni->n", fit.rows.z.values @ basis.z, found[:, :q])
    own += np.einsum("ni,ni->n", fit.rows.outer.values @ basis.outer, found[:, q:])
    return np.asarray(mean + basis.scale * own)


def fit_by_power(frame: pl.DataFrame, model: MixedModel, method: Method = "reml", rounds: int = 50) -> UnequalFit:
    """Residual SD proportional to |fitted level|^power (varPower of the innermost fitted values).

    The fitted levels are held while the power is found, then renewed, until the power moves by less than 1e-8.
    """
    equal = fit_mixed(frame, model, method)
    power, current = 0.0, equal
    made: UnequalFit | None = None
    for _ in range(rounds):
        level = np.abs(fitted_levels(current))
        if level.min() <= 1e-8 * level.max():
            raise CannotFit("A fitted level is 0, so its power has no scale; use groups of rows instead.")
        log_level = np.log(level)
        (found,) = _search(equal, lambda p, v=log_level: p[0] * v, np.array([power]))  # type: ignore[misc]
        made = _finished(equal, found * log_level, pl.DataFrame({"power": [float(found)]}), 1)
        if abs(found - power) < 1e-8:
            break
        power, current = float(found), made.fit
    assert made is not None
    return made
