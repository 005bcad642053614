"""Shares of variance: marginal and conditional R2 and intraclass correlations."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from pipeline.stats.mixed import MixedFit
    from pipeline.stats.reading import Reading

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Explained:
    """variance: of the mean's curve over the rows, of each grouping's random terms averaged over the rows, of the
    residual (squared outcome units). marginal: share of the mean; conditional: of the mean and the random terms.
    icc: by grouping, the share of random plus residual variance that lies between its groups, averaged over the rows.
    """

    mean_variance: float
    random_variance: dict[str, float]
    residual_variance: float
    marginal: float
    conditional: float
    icc: dict[str, float]


def explained(fit: MixedFit) -> Explained:
    """R2 of Nakagawa and Schielzeth 2013 (Methods Ecol Evol 4:133-142), random slopes by Johnson 2014 (5:944-946)."""
    kept = list(fit.solved.basis.kept)
    curve = fit.rows.x.values[:, kept] @ fit.beta[kept]
    mean = float(curve.var(ddof=1))
    random = {}
    for varies, columns in zip(fit.model.varies, (fit.rows.z, fit.rows.outer), strict=False):
        psi = fit.covariance(varies.by)[1]
        random[varies.by] = float(np.einsum("ni,ij,nj->", columns.values, psi, columns.values) / len(curve))
    residual = fit.residual_sd**2
    spread = sum(random.values())
    total = mean + spread + residual
    icc = {by: value / (spread + residual) for by, value in random.items()}
    return Explained(mean, random, residual, mean / total, (mean + spread) / total, icc)


def icc_at(fit: Reading, by: str, terms: Array) -> float:
    """Intraclass correlation for rows whose random columns have these values, terms (q,) for grouping `by`.

    Two rows of one group, share of random plus residual variance; the other grouping's intercept counts as spread.
    """
    own = 0.0
    spread = fit.residual_sd**2
    for varies in fit.model.varies:
        psi = fit.covariance(varies.by)[1]
        at = np.asarray(terms, dtype=float) if varies.by == by else np.eye(len(psi))[0]
        value = float(at @ psi @ at)
        spread += value
        own += value if varies.by == by else 0.0
    return own / spread
