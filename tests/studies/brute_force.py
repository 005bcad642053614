"""REML by brute force, to hold the engine to: dense V of every client, numerical optimisation from several starts.

It shares no code and no parametrisation with the engine: covariances enter as log-SDs and a Fisher-z correlation.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from formulaic import model_matrix
from scipy.optimize import minimize

if TYPE_CHECKING:
    from tests.studies.designs import Design

STARTS = [(a, b, r) for a, b in ((0.5, 0.5), (-3.0, -3.0), (1.5, -6.0)) for r in (0.3, -0.9)]
LEAST_LOG_SD = -12.0


class Dense:
    """Rows of a design stacked by number of tests, so that clients of equal size share one linear-algebra call."""

    def __init__(self, design: Design):
        from tests.studies.designs import MEANS

        x = np.asarray(model_matrix(MEANS[design.which], design.rows), dtype=float)
        t, y = design.rows["t"].to_numpy(), design.rows["y"].to_numpy()
        starts = np.flatnonzero(np.diff(design.rows["client"].to_numpy(), prepend=-1))
        sizes = np.diff(np.append(starts, len(y)))
        self.blocks = []
        for size in np.unique(sizes):
            index = starts[sizes == size][:, None] + np.arange(size)
            z = np.stack([np.ones(index.shape), t[index]], axis=2)
            self.blocks.append((z, np.concatenate([x[index], y[index][..., None]], axis=2)))
        self.n, self.p = x.shape

    def minus_two_log_likelihood(self, parameters: np.ndarray) -> float:
        """parameters: log relative SD of level and slope, Fisher z of their correlation; sigma profiled out."""
        level, slope = np.exp(np.clip(parameters[:2], LEAST_LOG_SD, 12.0))
        cross = level * slope * np.tanh(parameters[2])
        relative = np.array([[level**2, cross], [cross, slope**2]])
        sums, log_det = np.zeros((self.p + 1, self.p + 1)), 0.0
        for z, w in self.blocks:
            v = z @ relative @ np.swapaxes(z, 1, 2) + np.eye(z.shape[1])
            root = np.linalg.cholesky(v)
            half = np.linalg.solve(root, w)
            sums += np.einsum("mia,mib->ab", half, half)
            log_det += 2.0 * np.log(np.diagonal(root, axis1=1, axis2=2)).sum()
        inner = np.linalg.cholesky(sums)
        free = self.n - self.p
        rss = inner[-1, -1] ** 2
        log_det += 2.0 * np.log(np.diag(inner)[:-1]).sum()
        return float(log_det + free * (1.0 + np.log(2.0 * np.pi * rss / free)))


def best_log_likelihood(design: Design) -> float:
    """The highest REML log-likelihood over all starts, each a simplex search followed by L-BFGS."""
    dense = Dense(design)
    found = []
    for start in STARTS:
        rough = minimize(dense.minus_two_log_likelihood, start, method="Nelder-Mead", options={"maxfev": 250})
        fine = minimize(dense.minus_two_log_likelihood, rough.x, method="L-BFGS-B", options={"ftol": 1e-14})
        found.append(min(rough.fun, fine.fun))
    return -0.5 * min(found)
