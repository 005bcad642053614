"""Likelihood-ratio tests of nested mixed models, aware that a variance of zero lies on the edge.

The null distribution of a test that adds random terms is a mixture of chi-squares (Self and Liang 1987, J Am Stat
Assoc 82:605-610; Stram and Lee 1994, Biometrics 50:1171-1177).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import comb
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from pipeline.stats.model import CannotFit

if TYPE_CHECKING:
    from pipeline.stats.mixed import MixedFit


@dataclass(frozen=True)
class LikelihoodRatio:
    """statistic = 2 (larger - smaller log-likelihood); mixture: {df: weight} of the chi-squares; p of the smaller."""

    statistic: float
    mixture: dict[int, float]
    p: float


def _sizes(fit: MixedFit) -> dict[str, tuple[int, bool]]:
    columns = (fit.rows.z, fit.rows.outer)
    return {
        v.by: (len(c.names), v.correlated or len(c.names) == 1) for v, c in zip(fit.model.varies, columns, strict=False)
    }


def _added(smaller: MixedFit, larger: MixedFit) -> dict[int, float]:
    """Mixture for the random terms that the larger model adds."""
    few, many = _sizes(smaller), _sizes(larger)
    mixture = {0: 1.0}
    for by, (size, correlated) in many.items():
        had, had_correlated = few.pop(by, (0, True))
        added = size - had
        if added < 0:
            raise CannotFit(f"The larger model has fewer random terms by {by!r} than the smaller one.")
        if added == 0:
            covariances = size * (size - 1) // 2 if correlated and not had_correlated else 0
            step = {covariances: 1.0}
        elif not correlated:
            step = {j: comb(added, j) / 2.0**added for j in range(added + 1)}
        elif added == 1:
            step = {had: 0.5, had + 1: 0.5}
        else:
            raise CannotFit(
                f"The larger model adds {added} correlated random terms by {by!r} at once; its mixture depends on "
                "the data. Add them one at a time."
            )
        mixture = _convolved(mixture, step)
    if few:
        raise CannotFit(f"The smaller model has the grouping {next(iter(few))!r}, the larger one has not.")
    return mixture


def _convolved(first: dict[int, float], second: dict[int, float]) -> dict[int, float]:
    out: dict[int, float] = {}
    for i, a in first.items():
        for j, b in second.items():
            out[i + j] = out.get(i + j, 0.0) + a * b
    return out


def mixture_p(statistic: float, mixture: dict[int, float]) -> float:
    """P(chi-square mixture >= statistic); df 0 is a point at 0."""
    if statistic <= 0:
        return 1.0
    return float(sum(w * special.chdtrc(df, statistic) for df, w in mixture.items() if df > 0))


def likelihood_ratio(smaller: MixedFit, larger: MixedFit) -> LikelihoodRatio:
    """Test the smaller of two nested fits of the same rows.

    Fits by REML must have the same mean; a different mean needs ML. CannotFit says when they cannot be compared.
    """
    if smaller.method != larger.method or smaller.n_rows != larger.n_rows:
        raise CannotFit("Both models must be fitted by the same method to the same rows.")
    if not np.array_equal(np.sort(smaller.rows.y), np.sort(larger.rows.y)):
        raise CannotFit("The two models were fitted to different outcomes.")
    p_few, p_many = len(smaller.solved.basis.kept), len(larger.solved.basis.kept)
    if smaller.method == "reml" and smaller.model.mean != larger.model.mean:
        raise CannotFit("REML likelihoods of different means cannot be compared; fit both by ML.")
    if p_many < p_few:
        raise CannotFit("The larger model has fewer terms of the mean than the smaller one.")
    mixture = _convolved(_added(smaller, larger), {p_many - p_few: 1.0})
    statistic = max(0.0, 2.0 * (larger.log_likelihood - smaller.log_likelihood))
    return LikelihoodRatio(statistic, mixture, mixture_p(statistic, mixture))
