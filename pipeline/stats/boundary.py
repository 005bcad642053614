"""The four plain states of a fit, and what is done when a variance is zero.

Policy: a direction of the random terms with zero variance is dropped and the reduced model refitted; its df are the
ones reported (Dyestuff2: 29, one-way with nothing between the batches). The likelihood is that of the full model,
whose optimum it is. With boundary="keep" nothing is dropped and Kenward-Roger df keep all variances in their
information (Dyestuff2: 5, as pbkrtest does).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.stats.basis import Basis
from pipeline.stats.kr import Linear, linear
from pipeline.stats.likelihood import Shape, evaluate
from pipeline.stats.model import Boundary, CannotFit, MixedModel, StateKind
from pipeline.stats.optimum import Optimum, Proof, best, proof, settled, walk
from pipeline.stats.sums import Sums

Array = NDArray[np.float64]

ZERO_BELOW = 1e-7  # share of the residual variance, in standardised random columns
UNIDENTIFIED_BELOW = 1e-9  # smallest eigenvalue of the information of the variances, its diagonal scaled to 1


@dataclass(frozen=True)
class Solved:
    """A fit in standardised columns. z_used (q, r), outer_used (qs, rs): the directions kept, all but the zero ones.

    full: sums, shape, theta and tilt before directions were dropped; refits start from there.
    """

    sums: Sums
    shape: Shape
    basis: Basis
    found: Optimum
    proof: Proof
    linear: Linear
    reml: bool
    z_used: Array
    outer_used: Array
    zero: tuple[bool, bool]
    full: tuple[Sums, Shape, Array, Array]

    @property
    def d(self) -> Array:
        """Relative covariance of the innermost random terms, all directions (q, q)."""
        return np.asarray(self.z_used @ self.found.point.d @ self.z_used.T)

    @property
    def ds(self) -> Array:
        """Relative covariance of the outer random terms, all directions (qs, qs)."""
        return np.asarray(self.outer_used @ self.found.point.ds @ self.outer_used.T)


def directions(d: Array, correlated: bool) -> tuple[Array, bool]:
    """(columns that span the directions with variance, whether any has none)."""
    size = len(d)
    if not correlated:
        used = np.diag(d) > ZERO_BELOW
        return np.eye(size)[:, used], not bool(used.all())
    values, vectors = np.linalg.eigh(d)
    used = values > ZERO_BELOW
    if used.all():
        return np.eye(size), False
    return vectors[:, used], True


def reduced(sums: Sums, shape: Shape, used: Array, outer_used: Array) -> tuple[Sums, Shape]:
    """Sums and shape over the kept directions only."""
    qs, rest = shape.qs, sums.k - shape.qs
    w = np.zeros((sums.k, outer_used.shape[1] + rest))
    w[:qs, : outer_used.shape[1]] = outer_used
    w[qs:, outer_used.shape[1] :] = np.eye(rest)
    smaller = Shape(used.shape[1], shape.correlated, outer_used.shape[1], shape.outer_correlated)
    return sums.in_basis(used, w, outer_used.shape[1]), smaller


def _factor_start(shape: Shape, d: Array, ds: Array) -> Array:
    """Free elements of the lower factors of D and Ds, both positive definite."""
    roots = [np.linalg.cholesky(m) if len(m) else m for m in (d, ds)]
    return np.array([roots[e.level][e.a, e.b] for e in shape.elements])


def solve(sums: Sums, shape: Shape, basis: Basis, reml: bool, boundary: Boundary, start: Array | None = None) -> Solved:
    """Fit, look for zero variances, drop them and refit. start: walk from there alone (refits near a known optimum)."""
    if start is None:
        found, why = best(sums, shape, reml)
    else:
        found = settled(walk(sums, shape, reml, start), reml)
        why = proof(found, float("nan"))
    full = (sums, shape, found.theta, found.tilt)
    d, ds = found.point.d, found.point.ds
    used, zero = directions(d, shape.correlated)
    outer_used, outer_zero = directions(ds, shape.outer_correlated)
    if (zero or outer_zero) and boundary == "drop":
        sums, shape = reduced(sums, shape, used, outer_used)
        begin = _factor_start(shape, used.T @ d @ used, outer_used.T @ ds @ outer_used)
        found = settled(walk(sums, shape, reml, begin), reml)
    else:
        used, outer_used = np.eye(shape.q), np.eye(shape.qs)
    made = linear(found.point, found.made, reml)
    return Solved(sums, shape, basis, found, why, made, reml, used, outer_used, (zero, outer_zero), full)


def refuse_unidentified(solved: Solved, model: MixedModel, rows_per_group: Array) -> None:
    """CannotFit when the variances cannot be told apart from one another or from the terms of the mean."""
    information = solved.linear.expected
    size = np.sqrt(np.maximum(np.diag(information), 0.0))
    if size.min() > 0 and float(np.linalg.eigvalsh(information / np.outer(size, size))[0]) > UNIDENTIFIED_BELOW:
        return
    inner = model.varies[0]
    few = int((rows_per_group <= solved.shape.q).sum())
    if few == len(rows_per_group):
        tests = "one row" if rows_per_group.max() == 1 else f"{int(rows_per_group.max())} rows or fewer"
        raise CannotFit(
            f"All {len(rows_per_group)} groups of {inner.by!r} have {tests}, so what varies between groups "
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
    names: tuple[tuple[str, ...], tuple[str, ...]],
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
    done = "It is kept in the model." if kept else "It was dropped and the model refitted without it."
    zero = [n for n, v in zip(names, np.diag(relative if len(names) == 1 else own), strict=True) if v <= ZERO_BELOW**2]
    if len(zero) == len(names):
        return f"The variance between groups of {by!r} ({', '.join(names)}) is zero. {done}"
    if zero:
        return f"The variance of {', '.join(map(repr, zero))} by {by!r} is zero. {done}"
    return (
        f"The random terms {' and '.join(map(repr, names))} by {by!r} move in step (correlation +1 or -1): "
        f"one direction of their covariance has zero variance. {done}"
    )


def criterion_at(solved: Solved, d: Array, ds: Array) -> float:
    """-2 log-likelihood of the standardised model at relative covariances D, Ds of the kept directions."""
    return evaluate(solved.sums, solved.shape, d, ds).answer.criterion(solved.reml)
