"""Residuals and random effects, and a few numbers that say whether the model's assumptions look broken."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from pipeline.stats.modes import modes

if TYPE_CHECKING:
    from pipeline.stats.mixed import MixedFit

Array = NDArray[np.float64]


def residuals(fit: MixedFit) -> pl.DataFrame:
    """mean, fitted (with the groups' own terms), residual, standardised, in the order of the frame that was fitted.

    standardised: residual over its SD (in a fit by groups or power of variance, over the row's own SD).
    """
    solved, scale = fit.solved, fit.solved.basis.scale
    found = modes(solved.found.point).mode[fit.rows.inner_of]
    q = solved.shape.q
    rest = fit.standard.y + fit.standard.x @ solved.linear.w[:-1]
    rest = rest - np.einsum("ni,ni->n", fit.standard.z, found[:, :q])
    rest = rest - np.einsum("ni,ni->n", fit.standard.outer, found[:, q:])
    kept = list(solved.basis.kept)
    mean = fit.rows.x.values[:, kept] @ fit.beta[kept]
    own = np.einsum("ni,ni->n", fit.rows.z.values @ solved.basis.z, found[:, :q])
    own += np.einsum("ni,ni->n", fit.rows.outer.values @ solved.basis.outer, found[:, q:])
    fitted = mean + scale * own
    back = np.empty(len(mean), dtype=np.intp)
    back[fit.rows.order] = np.arange(len(mean))
    return pl.DataFrame(
        {
            "mean": mean[back],
            "fitted": fitted[back],
            "residual": (fit.rows.y - fitted)[back],
            "standardised": (rest / np.sqrt(solved.linear.sigma2))[back],
        }
    )


@dataclass(frozen=True)
class Diagnostics:
    """skewness and excess_kurtosis of the standardised residuals; beyond_3: how many lie outside +-3 SD, and how many
    a normal distribution would put there; spread_with_level: correlation of |residual| with the fitted level;
    far_groups: innermost groups whose random terms lie beyond the 99.9 % ellipse, with their squared distance.
    """

    skewness: float
    excess_kurtosis: float
    beyond_3: int
    beyond_3_expected: float
    spread_with_level: float
    far_groups: pl.DataFrame


def diagnostics(fit: MixedFit) -> Diagnostics:
    """Numbers about residuals and random effects; they describe, they decide nothing."""
    table = residuals(fit)
    z, fitted = table["standardised"].to_numpy(), table["fitted"].to_numpy()
    away = z - z.mean()
    sd = away.std()
    flat = float(np.ptp(fitted)) == 0.0
    return Diagnostics(
        skewness=float((away**3).mean() / sd**3),
        excess_kurtosis=float((away**4).mean() / sd**4 - 3.0),
        beyond_3=int((np.abs(z) > 3.0).sum()),
        beyond_3_expected=float(2.0 * special.ndtr(-3.0) * len(z)),
        spread_with_level=0.0 if flat else float(np.corrcoef(np.abs(z), fitted)[0, 1]),
        far_groups=_far_groups(fit),
    )


def _far_groups(fit: MixedFit) -> pl.DataFrame:
    """Squared distance of each innermost group's modes by the variance of those modes, D - C."""
    solved = fit.solved
    m, q = len(solved.sums.rows), solved.shape.q
    found = modes(solved.found.point)
    mode = found.mode[:m, :q]
    spread = solved.linear.sigma2 * (solved.found.point.d - found.c[:m, :q, :q])
    distance = np.zeros(m)
    for i in range(m if q else 0):
        values, vectors = np.linalg.eigh(spread[i])
        turned = vectors.T @ mode[i]
        good = values > 1e-10 * max(float(values.max()), 1e-300)
        distance[i] = float((turned[good] ** 2 / values[good]).sum())
    far = distance > float(special.chdtri(max(q, 1), 0.001))
    keys = fit.rows.inner_keys
    by = [v.by for v in fit.model.varies][::-1]
    table = pl.DataFrame([k if len(by) > 1 else (k,) for k in keys], schema=by, orient="row")
    return table.with_columns(distance=distance).filter(pl.Series(far)).sort("distance", descending=True)
