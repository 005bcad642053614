"""What the fit says about each group: conditional modes of the random terms and their prediction error.

For b = (u of the innermost group, v of its outer group), relative prior Dc, design Zc: mode Dc Zc'H^-1(y - X beta);
prediction error of x'beta + z'b: (x - A'z)' Phi (x - A'z) + sigma^2 z'C z with A = Dc Zc'H^-1 X, C = Dc - Dc Kc Dc,
Kc = Zc'H^-1 Zc (Henderson 1975, Biometrics 31:423-447). The uncertainty of the variances adds the spread of the mode
as they move, J W J', counted twice (Prasad and Rao 1990, JASA 85:163-171: the first terms are too small by as much).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.stats.basis import Basis
from pipeline.stats.boundary import Solved
from pipeline.stats.derivatives import solve as solve_mean
from pipeline.stats.likelihood import Point, evaluate

Array = NDArray[np.float64]
Index = NDArray[np.intp]


@dataclass(frozen=True)
class Modes:
    """Per group g of (q innermost terms, then qs outer ones), standardised: mode (g, q+qs), a (g, q+qs, p),
    c (g, q+qs, q+qs). The last s + 1 entries are a new innermost group in each outer group, then in a new outer group.
    """

    mode: Array
    a: Array
    c: Array


def modes(point: Point) -> Modes:
    """Conditional modes of all groups at a point, groups in the order of the sums; then new groups."""
    sums, shape = point.sums, point.shape
    q, qs, m, s = shape.q, shape.qs, len(sums.rows), len(sums.starts)
    _, w, _ = solve_mean(point.answer.s)
    assert sums.zw is not None
    r = np.swapaxes(point.b, 1, 2) @ sums.zw
    full = r @ point.into[sums.outer_of]
    site_r = np.swapaxes(point.site_b, 1, 2) @ point.s1[:, :qs, qs:]
    columns = full.shape[2]
    half = np.zeros((m + s + 1, q + qs, columns))
    k = np.zeros((m + s + 1, q + qs, q + qs))
    half[:m, :q] = full
    half[:m, q:], half[m : m + s, q:] = site_r[sums.outer_of], site_r
    r_z = r[:, :, :qs]
    k[:m, :q, :q] = point.k - r_z @ point.site_omega[sums.outer_of] @ np.swapaxes(r_z, 1, 2)
    k[:m, :q, q:] = r_z @ point.site_b[sums.outer_of]
    k[:m, q:, :q] = np.swapaxes(k[:m, :q, q:], 1, 2)
    k[:m, q:, q:], k[m : m + s, q:, q:] = point.site_k[sums.outer_of], point.site_k
    prior = np.zeros((q + qs, q + qs))
    prior[:q, :q], prior[q:, q:] = point.d, point.ds
    reduced = prior @ half
    return Modes(reduced @ w, reduced[:, :, :-1], prior - prior @ k @ prior)


@dataclass(frozen=True)
class Predicted:
    """estimate (n,), variance (n,) of the prediction error of the level, and the residual variance; caller's units."""

    estimate: Array
    variance: Array
    residual_variance: float


def combine_modes(solved: Solved, x: Array, z: Array, group: Index, parameter_uncertainty: bool) -> Predicted:
    """Predict x'beta + z'b, x (n, kept terms) and z (n, q+qs) in the caller's columns, group (n,) into Modes."""
    basis = solved.basis
    x_std = basis.contrast(x) / basis.scale
    z_std = z @ random_map(solved)
    found = modes(solved.found.point)
    beta = -solved.linear.w[:-1]
    estimate = x @ basis.shift + basis.scale * (x_std @ beta + np.einsum("ni,ni->n", z_std, found.mode[group]))
    left = x_std - np.einsum("ni,nip->np", z_std, found.a[group])
    variance = np.einsum("ni,ij,nj->n", left, solved.linear.phi, left)
    variance += solved.linear.sigma2 * np.einsum("ni,nij,nj->n", z_std, found.c[group], z_std)
    if parameter_uncertainty and len(solved.shape.elements):
        variance += 2.0 * _moved(solved, x_std, z_std, group)
    return Predicted(estimate, basis.scale**2 * variance, basis.scale**2 * solved.linear.sigma2)


def random_map(solved: Solved) -> Array:
    """Map (q+qs, q+qs) from the caller's random columns to the standardised ones: z_user @ map."""
    inner, outer = solved.basis.z, solved.basis.outer
    out = np.zeros((inner.shape[0] + outer.shape[0], inner.shape[1] + outer.shape[1]))
    out[: inner.shape[0], : inner.shape[1]] = inner
    out[inner.shape[0] :, inner.shape[1] :] = outer
    return out


def _moved(solved: Solved, x: Array, z: Array, group: Index) -> Array:
    """J W J' of the prediction (n,): J by central differences in d, W the covariance of d from that of psi."""
    point = solved.found.point
    shape = solved.shape
    d = shape.values(point.d, point.ds)
    sigma2 = solved.linear.sigma2
    to_d = np.column_stack([np.eye(len(d)), -d]) / sigma2
    w = to_d @ solved.linear.kr_variances @ to_d.T
    columns = []
    for e, spread in zip(shape.elements, np.sqrt(np.maximum(np.diag(w), 0.0)), strict=True):
        step = 1e-4 * max(float(spread), 1e-4)
        ends = []
        for sign in (1.0, -1.0):
            inner, outer = point.d.copy(), point.ds.copy()
            part = (inner, outer)[e.level]
            part += sign * step * shape.unit(e)
            at = evaluate(solved.sums, shape, inner, outer)
            _, weights, _ = solve_mean(at.answer.s)
            ends.append(-(x @ weights[:-1]) + np.einsum("ni,ni->n", z, modes(at).mode[group]))
        columns.append((ends[0] - ends[1]) / (2.0 * step))
    jacobian = np.column_stack(columns)
    return np.asarray(np.einsum("nr,rs,ns->n", jacobian, w, jacobian))


def in_callers_columns(basis: Basis, solved: Solved, level: int) -> tuple[Array, Array]:
    """(modes (g, terms), conditional covariances (g, terms, terms)) of one level's random terms, caller's units."""
    found = modes(solved.found.point)
    m, s, q = len(solved.sums.rows), len(solved.sums.starts), solved.shape.q
    chosen = (slice(0, m), slice(0, q)) if level == 0 else (slice(m, m + s), slice(q, None))
    change = basis.scale * (basis.z if level == 0 else basis.outer)
    part = found.c[chosen[0], chosen[1], chosen[1]]
    a = found.a[chosen]
    spread = solved.linear.sigma2 * part + a @ solved.linear.phi @ np.swapaxes(a, 1, 2)
    return found.mode[chosen] @ change.T, change @ spread @ change.T
