"""Refits with the variances held at those of the full fit: sums of group pieces, a thousand of them in a second.

With V held, (sum c_i X_i'V_i^-1X_i) b = sum c_i X_i'V_i^-1y_i for any case weights c. Leaving one group out, or drawing
groups with replacement, then costs one small solve. `refit` moves the variances too and is the yardstick in the tests.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pipeline.stats.basis import Basis
from pipeline.stats.model import CannotFit

if TYPE_CHECKING:
    from pipeline.stats.mixed import MixedFit

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Held:
    """pieces (m, p + 1, p + 1): [X y]'H_i^-1 [X y] of each group, standardised columns; weight (m,) of the fit."""

    basis: Basis
    pieces: Array
    weight: Array

    def beta(self, weight: Array) -> Array:
        """Coefficients (kept terms,) under case weights (m,), caller's units; NaN where these cannot carry the mean."""
        return self._solved(np.tensordot(weight, self.pieces, axes=1))

    def without_each(self) -> Array:
        """Coefficients (m, kept terms) without each group in turn."""
        whole = np.tensordot(self.weight, self.pieces, axes=1)
        return np.array([self._solved(whole - w * piece) for w, piece in zip(self.weight, self.pieces, strict=True)])

    def _solved(self, total: Array) -> Array:
        gram, cross = total[:-1, :-1], total[:-1, -1]
        if np.linalg.eigvalsh(gram)[0] < 1e-10 * max(1.0, float(np.trace(gram))):
            return np.full(len(gram), np.nan)
        return self.basis.mean(np.asarray(np.linalg.solve(gram, cross), dtype=float))


def held(fit: MixedFit) -> Held:
    """Prepare a fit with one grouping; CannotFit with two, where groups of one site lean on each other."""
    if len(fit.model.varies) > 1:
        raise CannotFit("With two groupings the pieces of the inner groups do not add up; use refits.")
    sums, solved = fit.solved.sums, fit.solved
    assert sums.zw is not None
    own = fit.standard.own_totals(fit.rows)
    omega = np.linalg.solve(np.eye(sums.q) + solved.d @ sums.zz, np.broadcast_to(solved.d, sums.zz.shape))
    return Held(solved.basis, own - np.swapaxes(sums.zw, 1, 2) @ omega @ sums.zw, sums.weight)


def held_draws(fit: MixedFit, seed: int, draws: int) -> Array:
    """Coefficients (draws, kept terms) of a bootstrap of whole groups; NaN rows where a draw cannot carry the mean.

    The same seed draws the same groups as `refit.cluster_bootstrap` of this fit.
    """
    made = held(fit)
    draw, m = np.random.default_rng(seed), len(made.weight)
    counts = [np.bincount(draw.integers(0, m, m), minlength=m).astype(float) for _ in range(draws)]
    return np.array([made.beta(c * made.weight) for c in counts])
