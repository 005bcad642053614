"""The four plain states of a fit, and what is done when a variance is zero.

Policy: a variance that is zero, or a direction of the random terms that has none, is dropped: it takes no part in the
standard errors and df, which are those of the model without it (Dyestuff2: 29, one sample of 30 independent rows). The
likelihood is that of the full model, whose optimum it is. With boundary="keep" the Kenward-Roger matrices keep every
variance in their information, as pbkrtest does (Dyestuff2: 5). Satterthwaite's df are taken in the factors of the
covariance, where both policies are the same (Dyestuff2: 29, as lmerTest).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.stats.basis import Basis
from pipeline.stats.derivatives import pieces
from pipeline.stats.factors import ZERO_BELOW, snapped, tangent
from pipeline.stats.kr import Linear, linear
from pipeline.stats.likelihood import Shape, evaluate
from pipeline.stats.model import Boundary, CannotFit, MixedModel, StateKind
from pipeline.stats.optimum import Optimum, Proof, best
from pipeline.stats.sums import Sums

Array = NDArray[np.float64]

UNIDENTIFIED_BELOW = 1e-9  # smallest eigenvalue of the information of the variances, its diagonal scaled to 1


@dataclass(frozen=True)
class Solved:
    """A fit in standardised columns. zero: whether the innermost, the outer covariance is singular."""

    sums: Sums
    shape: Shape
    basis: Basis
    found: Optimum
    proof: Proof
    linear: Linear
    reml: bool
    zero: tuple[bool, bool]

    @property
    def d(self) -> Array:
        """Relative covariance of the innermost random terms (q, q)."""
        return self.found.point.d

    @property
    def ds(self) -> Array:
        """Relative covariance of the outer random terms (qs, qs)."""
        return self.found.point.ds


def solve(sums: Sums, shape: Shape, basis: Basis, reml: bool, boundary: Boundary) -> Solved:
    """Fit, look for zero variances, and drop them from what the standard errors and df rest on."""
    found, why = best(sums, shape, reml)
    d, used = snapped(found.point.d, shape.correlated)
    ds, outer_used = snapped(found.point.ds, shape.outer_correlated)
    zero = (used is not None, outer_used is not None)
    free = np.eye(len(shape.elements))
    if any(zero):
        point = evaluate(sums, shape, d, ds)
        found = replace(found, point=point, made=pieces(point))
        if boundary == "drop":
            free = tangent(shape, (used, outer_used))
    made = linear(found.point, found.made, reml, found.theta, free)
    return Solved(sums, shape, basis, found, why, made, reml, zero)


def without_groups(solved: Solved) -> Solved:
    """The same fit without its arrays by group."""
    def none(values: Array) -> Array:
        return values[:0].copy()  # a copy: a view would keep the whole array

    sums, point = solved.sums, solved.found.point
    empty = replace(
        sums, rows=none(sums.rows), zz=none(sums.zz), weight=none(sums.weight),
        zw=None if sums.zw is None else none(sums.zw), pairs=None if sums.pairs is None else none(sums.pairs),
    )
    bare = replace(point, sums=empty, b=none(point.b), omega=none(point.omega), k=none(point.k))
    return replace(solved, sums=empty, found=replace(solved.found, point=bare))


def refuse_unidentified(solved: Solved, model: MixedModel, rows_per_group: Array, groups: int) -> None:
    """CannotFit when the variances cannot be told apart from one another or from the terms of the mean.

    rows_per_group (m,): of groups, or of patterns of groups that stand for `groups` in all.
    """
    information = solved.linear.expected
    # on the scale of the information there would be without a mean to estimate, so that rounding is not taken for it
    size = np.sqrt(np.maximum(np.diag(solved.linear.trace2), 0.0))
    inner = model.varies[0]
    # one row each: an intercept of the group is a part of the residual, whatever rounding has left of the difference
    alone = rows_per_group.max() == 1 and "Intercept" in inner.names
    if not alone and size.min() > 0 and (
        float(np.linalg.eigvalsh(information / np.outer(size, size))[0]) > UNIDENTIFIED_BELOW
    ):
        return
    few = int((rows_per_group <= solved.shape.q).sum())
    if few == len(rows_per_group):
        tests = "one row" if rows_per_group.max() == 1 else f"{int(rows_per_group.max())} rows or fewer"
        raise CannotFit(
            f"All {groups} groups of {inner.by!r} have {tests}, so what varies between groups "
            f"({inner.terms}) cannot be told apart from the residual. Wait for second "
            "measurements, or fit fewer random terms."
        )
    raise CannotFit(
        "The variances cannot be told apart: the random terms "
        + " and ".join(f"({v.terms}) by {v.by!r}" for v in model.varies)
        + " repeat each other or the terms of the mean on these rows. Take one of them out."
    )


def state(
    solved: Solved,
    model: MixedModel,
    names: tuple[tuple[str, ...], ...],
    lost: tuple[str, ...],
    kept_zero: bool,
) -> tuple[StateKind, str]:
    """The state of a fit and the sentence that tells it."""
    parts = []
    kind: StateKind = "interior"
    for level, varies in enumerate(model.varies):
        if solved.zero[level]:
            kind = "variance zero"
            parts.append(_zero_sentence(solved, level, varies.by, names[level], kept_zero))
    if lost:
        kind = "not identified"
        columns = ", ".join(map(repr, lost))
        parts.append(
            f"Not identified: {columns} follow{'s' if len(lost) == 1 else ''} from the other terms of the mean on "
            "these rows and got no estimate; leave out or recode."
        )
    if not solved.proof.converged:
        kind = "numerical failure"
        parts.append(
            f"Numerical failure: the search stopped with a gain of {solved.proof.newton_decrement:.1e} in -2 "
            "log-likelihood still ahead; do not read these results. Fit fewer random terms."
        )
    return kind, " ".join(parts) or "Converged at an interior optimum: every variance is above zero."


def _zero_sentence(solved: Solved, level: int, by: str, names: tuple[str, ...], kept: bool) -> str:
    relative = (solved.d, solved.ds)[level]
    change = (solved.basis.z, solved.basis.outer)[level]
    own = change @ relative @ change.T
    done = (
        "It is kept in the model."
        if kept
        else "It was dropped: standard errors and df are those of the model without it."
    )
    zero = [n for n, v in zip(names, np.diag(relative if len(names) == 1 else own), strict=True) if v <= ZERO_BELOW**2]
    if len(zero) == len(names):
        return f"The variance between groups of {by!r} ({', '.join(names)}) is zero. {done}"
    if zero:
        return f"The variance of {', '.join(map(repr, zero))} by {by!r} is zero. {done}"
    return (
        f"The random terms {' and '.join(map(repr, names))} by {by!r} move in step (correlation +1 or -1): "
        f"one direction of their covariance has zero variance. {done}"
    )
