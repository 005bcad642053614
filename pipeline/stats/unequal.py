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
from pipeline.stats.numeric_minimum import NoMinimum, grid_then_brent, minimum
from pipeline.stats.optimum import RESTART_STOP, STOP_GAIN, tilt_at, walk

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


@dataclass(frozen=True)
class _Criterion:
    """-2 log-likelihood (standardised) as a function of the parameters of the log relative SDs (n,)."""

    equal: MixedFit
    log_sd_of: Callable[[Array], Array]
    tilt: Array

    def __call__(self, parameters: Array) -> float:
        return self._value(parameters, self.equal.solved.found.theta)[0]

    def _value(self, parameters: Array, theta: Array, stop: float = STOP_GAIN) -> tuple[float, Array]:
        log_sd = self.log_sd_of(parameters)
        # relative to their geometric mean: theta stays near its start, and 2 sum log(relative SD) is 0
        divided = self.equal.standard.divided(np.exp(log_sd - log_sd.mean()))
        shape, reml = self.equal.solved.shape, self.equal.solved.reml
        try:
            with np.errstate(all="ignore"):
                end = walk(divided.sums(self.equal.rows), shape, reml, theta, self.tilt, stop)
        except np.linalg.LinAlgError:  # a few rows with all the weight cannot carry the mean: no place for a minimum
            return float("inf"), theta
        return (end.value, end.theta) if np.isfinite(end.value) else (float("inf"), theta)

    def along(self, grid: Array) -> list[float]:
        """Values over a grid of one parameter to seven digits, to choose a place to search: each walk from its
        neighbour's end, from the middle outwards.
        """
        middle, start = len(grid) // 2, self.equal.solved.found.theta
        values = dict.fromkeys(range(len(grid)), 0.0)
        for side in (range(middle, len(grid)), range(middle - 1, -1, -1)):
            theta = start
            for place in side:
                values[place], theta = self._value(np.array([grid[place]]), theta, RESTART_STOP)
        return list(values.values())


def _criterion(equal: MixedFit, log_sd_of: Callable[[Array], Array]) -> _Criterion:
    return _Criterion(equal, log_sd_of, tilt_at(equal.solved.found.point, equal.solved.reml))


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

    try:
        found = minimum(_criterion(equal, log_sd_of), np.zeros(len(levels) - 1))
    except NoMinimum:
        raise CannotFit(
            f"The residual SDs by {by!r} have no best value: the likelihood goes on rising as one of them shrinks to 0 "
            "or the variance between groups takes its place. Join levels, or use one residual SD."
        ) from None
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


def _power(equal: MixedFit, level: Array, before: float | None) -> float:
    """Power of these fitted levels (n,) with the lowest criterion, searched anew, or from the power found before."""
    log_level = np.log(level)
    # in units of the spread of log SD over the rows, so that a step means the same on any scale of the outcome
    unit = max(float(log_level.std()), 1e-12)
    value = _criterion(equal, lambda p: p[0] / unit * log_level)
    begin = before * unit if before is not None else grid_then_brent(
        lambda p: value(np.array([p])), 0.0, along=value.along)  # fmt: skip
    return float(minimum(value, np.array([begin]))[0]) / unit


def fit_by_power(
    frame: pl.DataFrame, model: MixedModel, method: Method = "reml", rounds: int = 50, still: float = 1e-7
) -> UnequalFit:
    """Residual SD proportional to |fitted level|^power (varPower of the innermost fitted values).

    The fitted levels are held while the power is found, then renewed, until the power moves by less than `still`. The
    first search is over a grid, then by Brent's method; every one ends where the gradient is nought.
    """
    equal = fit_mixed(frame, model, method)
    power, current = None, equal
    for _ in range(rounds):
        level = np.abs(fitted_levels(current))
        if level.min() <= 1e-8 * level.max():
            raise CannotFit("A fitted level is 0, so its power has no scale; use groups of rows instead.")
        try:
            found = _power(equal, level, power)
        except NoMinimum:
            raise CannotFit(
                "No power of the fitted level is best: the fitted levels differ too little. Use one residual SD."
            ) from None
        made = _finished(equal, found * np.log(level), pl.DataFrame({"power": [found]}), 1)
        if power is not None and abs(found - power) < still:
            return made
        power, current = found, made.fit
    raise CannotFit(
        f"The power and the fitted levels did not settle on each other in {rounds} rounds; use groups of rows instead."
    )
