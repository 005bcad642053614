"""Profile intervals of variance components.

For a fixed SD the rest of the model is fitted again: sigma^2 follows from the SD and theta, so the search stays free
of constraints. The interval holds every SD whose -2 log-likelihood is within a chi-square(1) quantile of the optimum
(Bates et al. 2015, J Stat Softw 67(1), section 5.1).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from pipeline.stats.boundary import Solved
from pipeline.stats.derivatives import pieces
from pipeline.stats.factors import in_theta
from pipeline.stats.likelihood import Shape, evaluate
from pipeline.stats.model import CannotFit
from pipeline.stats.optimum import best

if TYPE_CHECKING:
    from pipeline.stats.reading import Reading

Array = NDArray[np.float64]


@dataclass(frozen=True)
class _Component:
    """One SD: level 0, 1, or None for the residual; row: the caller's random column in standardised directions."""

    solved: Solved
    level: int | None
    row: Array

    def criterion(self, theta: Array, sd: float) -> tuple[float, Array]:
        """-2 log-likelihood and its gradient in theta with the component's SD held, standardised units."""
        sums, shape = self.solved.sums, self.solved.shape
        factors = shape.factors(theta)
        point = evaluate(sums, shape, factors[0] @ factors[0].T, factors[1] @ factors[1].T)
        made = pieces(point, exact=False)
        reml, p = self.solved.reml, len(made.phi)
        nu = sums.n - p if reml else sums.n
        relative = 1.0 if self.level is None else float(self.row @ (point.d, point.ds)[self.level] @ self.row)
        if relative <= 0.0:
            return float("inf"), np.zeros_like(theta)
        sigma2 = sd**2 / relative
        log_x = -float(np.linalg.slogdet(made.phi)[1]) if reml and p else 0.0
        value = point.answer.log_det + log_x + nu * np.log(2.0 * np.pi * sigma2) + made.rss / sigma2
        slope = made.trace1 - np.einsum("i,rij,j->r", made.w, made.p, made.w) / sigma2
        if reml:
            slope = slope - np.einsum("ij,rji->r", made.phi, made.p[:, :p, :p])
        if self.level is not None:
            moved = np.array(
                [self.row @ shape.unit(e) @ self.row if e.level == self.level else 0.0 for e in shape.elements]
            )
            slope = slope - (nu / sigma2 - made.rss / sigma2**2) * sigma2 / relative * moved
        gradient, _ = in_theta(shape, theta, slope, np.zeros((len(theta), len(theta))))
        return float(value), gradient

    def at(self, sd: float, start: Array) -> tuple[float, Array]:
        """Lowest criterion at this SD, and theta there."""
        from scipy.optimize import minimize

        found = minimize(self.criterion, start, args=(sd,), jac=True, method="BFGS", options={"gtol": 1e-6})
        return float(found.fun), np.asarray(found.x)


def _without(solved: Solved, level: int, column: int) -> float:
    """-2 log-likelihood of the model without one random term (standardised)."""
    sums, shape = solved.sums, solved.shape
    change = (solved.basis.z, solved.basis.outer)[level]
    # directions that do not move the dropped term: the null space of its row
    keep = np.linalg.svd(change[column][None, :])[2][1:].T
    used = keep if level == 0 else np.eye(shape.q)
    outer_used = keep if level == 1 else np.eye(shape.qs)
    w = np.eye(sums.k)[:, shape.qs :]
    w = np.concatenate([np.eye(sums.k)[:, : shape.qs] @ outer_used, w], axis=1)
    smaller = sums.in_basis(used, w, outer_used.shape[1])
    smaller_shape = Shape(used.shape[1], shape.correlated, outer_used.shape[1], shape.outer_correlated)
    return best(smaller, smaller_shape, solved.reml)[0].value


def _ends(component: _Component, sd: float, floor: float | None, cut: float) -> tuple[float, float]:
    """(low, high) in standardised units; floor: the criterion at an SD of zero, None when zero is impossible."""
    from scipy.optimize import brentq

    solved = component.solved
    lowest, theta = solved.found.value, solved.found.theta
    state = {"theta": np.where(np.abs(theta) < 1e-3, 1e-3, theta)}

    def above(value: float) -> float:
        found, state["theta"] = component.at(value, state["theta"])
        # the signed root is nearly a straight line in the SD, so few steps find its crossing
        return float(np.sqrt(max(found - lowest, 0.0)) - np.sqrt(cut))

    high = max(sd, 1e-3) * 1.5
    while above(high) < 0.0:
        high *= 1.5
    upper = float(brentq(above, max(sd, 1e-6), high, xtol=1e-6 * high)) if sd > 0 else high
    if floor is not None and floor - lowest < cut:
        return 0.0, upper
    state["theta"] = np.where(np.abs(theta) < 1e-3, 1e-3, theta)
    low = sd / 1.5
    while above(low) < 0.0:
        low /= 1.5
    return float(brentq(above, low, sd, xtol=1e-6 * sd)), upper


def profile_intervals(fit: Reading, level: float = 0.95) -> pl.DataFrame:
    """grouping, term, sd, low, high of every random term's SD and of the residual's; outcome units (per column unit).

    By the fit's own likelihood: REML, or ML as lme4's confint does. Needs a fit that is not a numerical failure.
    """
    if fit.state_kind == "numerical failure":
        raise CannotFit("The search for the optimum failed; there is nothing to profile.")
    cut = float(special.chdtri(1, 1.0 - level))
    solved, scale = fit.solved, fit.solved.basis.scale
    rows: list[tuple[str, str, float, float, float]] = []
    for number, varies in enumerate(fit.model.varies):
        names, psi = fit.covariance(varies.by)
        change = (solved.basis.z, solved.basis.outer)[number]
        for j, name in enumerate(names):
            sd = float(np.sqrt(max(psi[j, j], 0.0))) / scale
            component = _Component(solved, number, change[j])
            low, high = _ends(component, sd, _without(solved, number, j), cut)
            rows.append((varies.by, name, sd * scale, low * scale, high * scale))
    sd = fit.residual_sd / scale
    low, high = _ends(_Component(solved, None, np.zeros(0)), sd, None, cut)
    rows.append(("residual", "residual", sd * scale, low * scale, high * scale))
    return pl.DataFrame(rows, schema=["grouping", "term", "sd", "low", "high"], orient="row")
