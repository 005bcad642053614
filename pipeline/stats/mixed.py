"""The door to mixed models: fit_mixed(frame, model) -> MixedFit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.stats.basis import Basis, Standard, standardised
from pipeline.stats.boundary import Solved, refuse_unidentified, solve, state
from pipeline.stats.contrasts import Contrast, FTest, contrast, mean_table
from pipeline.stats.formula import Rows, read_rows
from pipeline.stats.likelihood import Shape
from pipeline.stats.model import Boundary, CannotFit, DfMethod, Method, MixedModel, StateKind
from pipeline.stats.optimum import Proof
from pipeline.stats.sums import Sums

Array = NDArray[np.float64]


@dataclass(frozen=True)
class MixedFit:
    """A fitted mixed model.

    state_kind: "interior", "variance zero", "not identified" or "numerical failure"; state tells it in plain words.
    log_likelihood: of the rows (REML or ML) in the caller's units. residual_sd: units of the outcome.
    n_rows; n_groups by grouping. mean_terms: term, estimate, std_error, df, low, high (95 %); terms that are not
    identified have nulls. dropped_zero: groupings whose zero variance was dropped. df_method: what the df are (ML fits
    have Satterthwaite's, since Kenward-Roger's covariance is defined for REML). proof: why it counts as converged.
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
    mean_terms: pl.DataFrame
    dropped_zero: tuple[str, ...]
    proof: Proof
    solved: Solved = field(repr=False)
    rows: Rows = field(repr=False)
    standard: Standard = field(repr=False)

    @property
    def terms(self) -> tuple[str, ...]:
        """Names of all terms of the mean, identified or not."""
        return self.rows.x.names

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
                names = (self.rows.z, self.rows.outer)[level].names
                change = (self.solved.basis.z, self.solved.basis.outer)[level]
                relative = (self.solved.d, self.solved.ds)[level]
                return names, self.residual_sd**2 * change @ relative @ change.T
        raise CannotFit(f"The model has no grouping {by!r}; it has {', '.join(repr(v.by) for v in self.model.varies)}.")

    def contrast(self, weights: Mapping[str, float] | Array, level: float = 0.95) -> Contrast | FTest:
        """Test one linear combination of the mean's terms (mapping or vector), or several at once (matrix: F)."""
        return contrast(self, weights, level)


def _check_groups(rows: Rows, model: MixedModel) -> None:
    counts = (len(rows.inner_starts), len(rows.outer_starts))
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


def _group_weights(rows: Rows, frame: pl.DataFrame, weights: str | Mapping[Any, float]) -> Array:
    """Case weight of each innermost group (m,): from a column constant in each group, or a mapping by key."""
    if isinstance(weights, str):
        column = np.asarray(frame[weights].to_numpy(), dtype=float)[rows.order]
        each = column[rows.inner_starts]
        if not np.array_equal(each[rows.inner_of], column):
            raise CannotFit(f"The weight {weights!r} changes inside a group; a group has one weight.")
    else:
        missing = [k for k in rows.inner_keys if k not in weights]
        if missing:
            raise CannotFit(
                f"{len(missing)} of {len(rows.inner_keys)} groups have no weight; give each one, 0 leaves it out."
            )
        each = np.array([float(weights[k]) for k in rows.inner_keys])
    if not np.all(np.isfinite(each)) or each.min() < 0 or each.sum() == 0:
        raise CannotFit("Weights must be finite, not negative, and not all 0.")
    return each


def _weighted(sums: Sums, rows: Rows, standard: Standard, weight: Array) -> Sums:
    total = np.add.reduceat(standard.own_totals(rows) * weight[:, None, None], rows.outer_starts, axis=0)
    return sums.weighted(weight, sums.outer_weight, total)


def fit_mixed(
    frame: pl.DataFrame,
    model: MixedModel,
    method: Method = "reml",
    *,
    df: DfMethod = "kenward-roger",
    weights: str | Mapping[Any, float] | None = None,
    boundary: Boundary = "drop",
) -> MixedFit:
    """Fit a linear mixed model by REML or ML.

    weights: case weight of each innermost group (a column constant in each group, or a mapping from its key; with an
    outer grouping the key is (outer, inner)). boundary: "drop" refits without variances that are zero, "keep" does not.
    Raises CannotFit with a plain sentence when these rows have no answer.
    """
    rows = read_rows(frame, model)
    _check_groups(rows, model)
    correlated = tuple(v.correlated for v in model.varies)
    standard, basis = standardised(rows, correlated, tuple(v.by for v in model.varies))
    sums = standard.sums(rows)
    if weights is not None:
        sums = _weighted(sums, rows, standard, _group_weights(rows, frame, weights))
    shape = Shape(sums.q, correlated[0], sums.outer_columns, correlated[-1])
    solved = solve(sums, shape, basis, method == "reml", boundary)
    refuse_unidentified(solved, model, sums.rows)
    return assembled(solved, model, method, df, boundary, rows, standard)


def log_likelihood(solved: Solved) -> float:
    """Log-likelihood in the caller's units from the standardised criterion."""
    basis, n = solved.basis, solved.sums.n
    p = len(basis.kept)
    nu = n - p if solved.reml else n
    jacobian = basis.log_det_x if solved.reml else 0.0
    return float(-0.5 * solved.found.value - nu * np.log(basis.scale) + jacobian)


def assembled(
    solved: Solved, model: MixedModel, method: Method, df: DfMethod, boundary: Boundary, rows: Rows, standard: Standard
) -> MixedFit:
    """Put a solved model into the caller's units and words."""
    basis: Basis = solved.basis
    lost = tuple(n for j, n in enumerate(rows.x.names) if j not in basis.kept)
    kind, text = state(solved, model, (rows.z.names, rows.outer.names), lost, boundary == "keep")
    df_method: DfMethod = df if method == "reml" else "satterthwaite"
    zero = tuple(v.by for v, z in zip(model.varies, solved.zero, strict=False) if z and boundary == "drop")
    counts = (len(rows.inner_starts), len(rows.outer_starts))
    return MixedFit(
        model=model,
        method=method,
        df_method=df_method,
        state=text,
        state_kind=kind,
        log_likelihood=log_likelihood(solved),
        residual_sd=float(np.sqrt(solved.linear.sigma2)) * basis.scale,
        n_rows=len(rows.y),
        n_groups={v.by: c for v, c in zip(model.varies, counts, strict=False)},
        mean_terms=mean_table(solved, rows.x.names, df_method),
        dropped_zero=zero,
        proof=solved.proof,
        solved=solved,
        rows=rows,
        standard=standard,
    )
