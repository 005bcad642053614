"""Funnel limits for sites: exact for shares, normal for means, and the spread beyond chance. No ranking."""

from collections.abc import Sequence
from math import sqrt

import numpy as np
from scipy.special import ndtri
from scipy.stats import binom

LEVELS = (0.95, 0.998)
WINSORISED_SHARE = 0.1
FEWEST_SITES_FOR_OVERDISPERSION = 10


def _quantile(p: float, n: int, target: float) -> float:
    """Interpolated binomial quantile over n: (r − α)/n with α the part of the step at r that p leaves unused."""
    r = int(binom.ppf(p, n, target))
    above, below = float(binom.cdf(r, n, target)), float(binom.cdf(r - 1, n, target))
    return (r - (above - p) / (above - below)) / n


def funnel_limits(target: float, n: int, *, level: float = 0.95) -> tuple[float, float]:
    """Limits (0-1) of a site's share around ``target`` with n people: exact binomial, interpolated between counts.

    Cut to 0..1. 0 < target < 1, n above 0. Source: Spiegelhalter 2005, Stat Med 24:1185-202, appendix A.1.1.
    """
    if not 0 < target < 1 or n < 1:
        raise ValueError("expected a target between 0 and 1 and n above 0")
    low, high = _quantile(0.5 - level / 2, n, target), _quantile(0.5 + level / 2, n, target)
    return max(0.0, low), min(1.0, high)


def mean_limits(target: float, std_error: float, *, level: float = 0.95, tau: float = 0.0) -> tuple[float, float]:
    """Limits of a site's mean around ``target``: ± z·√(SE² + τ²), in the target's unit; τ from ``between_site_sd``."""
    half = float(ndtri(0.5 + level / 2)) * sqrt(std_error**2 + tau**2)
    return target - half, target + half


def winsorised(z_scores: Sequence[float], share: float = WINSORISED_SHARE) -> list[float]:
    """Pull the most extreme ``share`` at each end of the z-scores in to the quantile there; order kept.

    So that the sites which a funnel is meant to find do not widen it. Source: Spiegelhalter 2005, section 6.
    """
    if not z_scores:
        return []
    low, high = np.quantile(np.asarray(z_scores, dtype=float), [share, 1 - share])
    return [float(min(max(z, low), high)) for z in z_scores]


def dispersion(values: Sequence[float], std_errors: Sequence[float], target: float) -> float | None:
    """Mean squared winsorised z-score of the sites (φ): 1 if they differ by chance alone; None below 10 sites."""
    if len(values) < FEWEST_SITES_FOR_OVERDISPERSION:
        return None
    scores = winsorised([(value - target) / error for value, error in zip(values, std_errors, strict=True)])
    return float(np.mean(np.square(scores)))


def between_site_sd(values: Sequence[float], std_errors: Sequence[float], target: float) -> float | None:
    """Additive over-dispersion τ in the values' unit, by moments from φ; 0 if φ is no more than chance.

    τ² = (I·φ − (I − 1)) / (Σw − Σw²/Σw), w = 1/SE². None below 10 sites: then show a table, not a funnel.
    Source: Spiegelhalter 2005, Qual Saf Health Care 14:347-51, after DerSimonian and Laird 1986.
    """
    phi = dispersion(values, std_errors, target)
    if phi is None:
        return None
    sites = len(values)
    weights = 1 / np.square(np.asarray(std_errors, dtype=float))
    spread = float(weights.sum() - np.square(weights).sum() / weights.sum())
    return sqrt(max(0.0, (sites * phi - (sites - 1)) / spread))
