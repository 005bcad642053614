"""Standardised effect of a mixed model: g, in SDs of one client's observed level (for the researcher's page).

Pustejovsky, Hedges and Shadish 2014, J Educ Behav Stat 39:368-393: g = J(nu) c'b / sqrt(r'omega), with
nu = 2 (r'omega)^2 / Var(r'omega) from the expected information, J(nu) the small-sample factor of Hedges 1981, and the
interval from the noncentral t of c'b / SE.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pipeline.stats.contrasts import as_rows, combine
from pipeline.stats.effect_sizes import small_sample_factor
from pipeline.stats.model import CannotFit
from pipeline.stats.modes import random_map
from pipeline.stats.noncentral import noncentrality

if TYPE_CHECKING:
    from pipeline.stats.reading import Reading

Array = NDArray[np.float64]


@dataclass(frozen=True)
class StandardisedEffect:
    """g with its interval; sd: the denominator, outcome units; df: its nu; t and t_df: of the contrast."""

    g: float
    low: float
    high: float
    sd: float
    df: float
    t: float
    t_df: float


def level_variance(fit: Reading) -> tuple[float, float]:
    """(variance of one observed level where the random columns are the intercept alone, its df nu).

    The sum of every grouping's intercept variance and the residual variance, squared outcome units.
    """
    solved = fit.solved
    q = solved.basis.z.shape[0]
    rows = np.zeros((len(fit.model.varies), q + solved.basis.outer.shape[0]))
    for level, names in enumerate(fit.random_names):
        if "Intercept" not in names:
            raise CannotFit(f"The standardised effect needs a random intercept by {fit.model.varies[level].by!r}.")
        rows[level, level * q + names.index("Intercept")] = 1.0
    standard = rows @ random_map(solved)
    split = solved.shape.q
    weights = []
    for e in solved.shape.elements:
        inner = standard[0, :split] if e.level == 0 else standard[1, split:]
        weights.append(inner[e.a] * inner[e.b] * (1.0 if e.a == e.b else 2.0))
    r = np.append(weights, 1.0)
    value = float(r @ solved.linear.psi)
    df = 2.0 * value**2 / float(r @ solved.linear.kr_variances @ r)
    return value * solved.basis.scale**2, df


def standardised_effect(fit: Reading, weights: Mapping[str, float] | Array, level: float = 0.95) -> StandardisedEffect:
    """g of one contrast of the mean: c'b over the SD of one client's observed level at random columns (1, 0, ..)."""
    row = as_rows(fit, weights)
    made = combine(fit.solved, row, "satterthwaite", level)
    variance, nu = level_variance(fit)
    sd = float(np.sqrt(variance))
    estimate, error, t_df = (float(made[name][0]) for name in ("estimate", "std_error", "df"))
    factor = small_sample_factor(nu) if nu > 1.0 else float("nan")
    kappa, t = error / sd, estimate / error
    if not t_df > 0:
        return StandardisedEffect(factor * estimate / sd, float("nan"), float("nan"), sd, nu, t, t_df)
    low = noncentrality(t, t_df, 0.5 + level / 2.0)
    high = noncentrality(t, t_df, 0.5 - level / 2.0)
    return StandardisedEffect(
        g=factor * estimate / sd,
        low=factor * kappa * low,
        high=factor * kappa * high,
        sd=sd,
        df=nu,
        t=t,
        t_df=t_df,
    )
