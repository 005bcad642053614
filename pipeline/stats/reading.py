"""What every fit can be asked, be it made from rows or from sums: terms, covariances, contrasts, its state in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.stats.boundary import Solved, state
from pipeline.stats.contrasts import Contrast, FTest, contrast, mean_table
from pipeline.stats.model import Boundary, CannotFit, DfMethod, Method, MixedModel, StateKind
from pipeline.stats.optimum import Proof

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Reading:
    """A fitted mixed model, as far as it can be read without its rows.

    state_kind: "interior", "variance zero", "not identified" or "numerical failure"; state tells it in plain words.
    log_likelihood: of the rows (REML or ML) in the caller's units. residual_sd: units of the outcome.
    n_rows; n_groups by grouping. terms: names of all terms of the mean, identified or not. random_names: names of the
    random columns, innermost grouping first. mean_terms: term, estimate, std_error, df, low, high (95 %); terms that
    are not identified have nulls. dropped_zero: groupings whose zero variance was dropped. df_method: what the df are
    (ML fits have Satterthwaite's, since Kenward-Roger's covariance is defined for REML). proof: why it counts as
    converged.
    """

    model: MixedModel
    method: Method
    df_method: DfMethod
    state: str
    state_kind: StateKind
    log_likelihood: float
    residual_sd: float
    n_rows: int
    n_groups: dict[str, int]
    terms: tuple[str, ...]
    random_names: tuple[tuple[str, ...], ...]
    mean_terms: pl.DataFrame
    dropped_zero: tuple[str, ...]
    proof: Proof
    solved: Solved = field(repr=False)

    @property
    def beta(self) -> Array:
        """Coefficients of the mean (p,), NaN where not identified."""
        out = np.full(len(self.terms), np.nan)
        out[list(self.solved.basis.kept)] = self.solved.basis.mean(-self.solved.linear.w[:-1])
        return out

    @property
    def beta_covariance(self) -> Array:
        """Covariance of the coefficients (p, p): Kenward-Roger's adjusted one, or (X'V^-1X)^-1 with Satterthwaite."""
        made = self.solved.linear
        inner = made.adjusted if self.df_method == "kenward-roger" else made.phi
        basis = self.solved.basis
        out = np.full((len(self.terms),) * 2, np.nan)
        out[np.ix_(basis.kept, basis.kept)] = basis.scale**2 * basis.x @ inner @ basis.x.T
        return out

    def covariance(self, by: str) -> tuple[tuple[str, ...], Array]:
        """Names and covariance matrix Psi of the random terms of grouping `by`, in the caller's units."""
        for level, varies in enumerate(self.model.varies):
            if varies.by == by:
                change = (self.solved.basis.z, self.solved.basis.outer)[level]
                relative = (self.solved.d, self.solved.ds)[level]
                return self.random_names[level], self.residual_sd**2 * change @ relative @ change.T
        raise CannotFit(f"The model has no grouping {by!r}; it has {', '.join(repr(v.by) for v in self.model.varies)}.")

    def contrast(self, weights: Mapping[str, float] | Array, level: float = 0.95) -> Contrast | FTest:
        """Test one linear combination of the mean's terms (mapping or vector), or several at once (matrix: F)."""
        return contrast(self, weights, level)


def log_likelihood(solved: Solved) -> float:
    """Log-likelihood in the caller's units from the standardised criterion."""
    basis, n = solved.basis, solved.sums.n
    p = len(basis.kept)
    nu = n - p if solved.reml else n
    jacobian = basis.log_det_x if solved.reml else 0.0
    return float(-0.5 * solved.found.value - nu * np.log(basis.scale) + jacobian)


def check_groups(counts: tuple[int, ...], model: MixedModel) -> None:
    """CannotFit for a grouping of one group, and for two that are the same; counts: groups, innermost first."""
    for varies, count in zip(model.varies, counts, strict=False):
        if count < 2:
            raise CannotFit(
                f"There is only one {varies.by!r} in these rows, so nothing can be said about how its groups differ. "
                f"Leave {varies.by!r} out of what varies, or bring rows of a second one."
            )
    if len(model.varies) == 2 and counts[0] == counts[1]:
        raise CannotFit(
            f"Every group of {model.varies[1].by!r} holds one group of {model.varies[0].by!r}, so the two cannot be "
            "told apart. Keep one of them."
        )


def read(
    solved: Solved,
    model: MixedModel,
    how: tuple[Method, DfMethod, Boundary],
    names: tuple[tuple[str, ...], tuple[tuple[str, ...], ...]],
    counts: tuple[int, ...],
) -> dict[str, Any]:
    """The fields of a Reading: a solved model in the caller's units and words.

    names: of the mean's terms, and of the random columns by grouping. counts: rows, then groups, innermost first.
    """
    (method, df, boundary), (terms, random_names) = how, names
    lost = tuple(n for j, n in enumerate(terms) if j not in solved.basis.kept)
    kind, text = state(solved, model, random_names, lost, boundary == "keep")
    df_method: DfMethod = df if method == "reml" else "satterthwaite"
    zero = tuple(v.by for v, z in zip(model.varies, solved.zero, strict=False) if z and boundary == "drop")
    return {
        "model": model,
        "method": method,
        "df_method": df_method,
        "state": text,
        "state_kind": kind,
        "log_likelihood": log_likelihood(solved),
        "residual_sd": float(np.sqrt(solved.linear.sigma2)) * solved.basis.scale,
        "n_rows": counts[0],
        "n_groups": {v.by: c for v, c in zip(model.varies, counts[1:], strict=False)},
        "terms": terms,
        "random_names": random_names,
        "mean_terms": mean_table(solved, terms, df_method),
        "dropped_zero": zero,
        "proof": solved.proof,
        "solved": solved,
    }
