"""The noncentral t distribution by direct integration, and the noncentrality that puts a t at a given probability.

P(T <= t) = E[Phi(t S - delta)], S^2 = chi^2_df / df (Johnson, Kotz and Balakrishnan 1995, Continuous Univariate
Distributions 2, ch. 31). scipy.special.nctdtr is NaN in windows (df 6.5, t -1.5, delta 12.7), where an interval lies.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

NEGLIGIBLE = 45.0  # log of the density below its peak: what is left out is under 1e-19 of the whole


def noncentral_t_cdf(t: float, df: float, delta: float) -> float:
    """P(T <= t) of a noncentral t, df > 0, no unit; absolute error under 1e-11.

    The trapezoid rule over u = log S, whose density is smooth and falls off at both ends: it converges exponentially
    once the step is under the width of the density and of Phi.
    """
    low = -NEGLIGIBLE / df - 0.5
    if df > 3.0 * NEGLIGIBLE:
        low = max(low, -float(np.sqrt(3.0 * NEGLIGIBLE / df)))
    high = float(np.sqrt(NEGLIGIBLE / df))
    step = 0.4 / max(2.0, float(np.sqrt(2.0 * df)), 1.0 + abs(delta) + abs(t))
    u = np.linspace(low, high, int(np.ceil((high - low) / step)) + 1)
    s = np.exp(u)
    density = np.exp(df * (u - (s * s - 1.0) / 2.0))
    return float(ndtr(t * s - delta) @ density / density.sum())


def noncentrality(t: float, df: float, probability: float) -> float:
    """delta with P(T <= t | df, delta) = probability, in 0..1; the probability falls as delta grows."""

    def above(delta: float) -> float:
        return noncentral_t_cdf(t, df, delta) - probability

    width = 4.0 * float(np.sqrt(1.0 + t * t / (2.0 * df)))
    low, high = t - width, t + width
    while above(low) < 0.0:
        low -= 2.0 * (t - low)
    while above(high) > 0.0:
        high += 2.0 * (high - t)
    return float(brentq(above, low, high, xtol=1e-12))
