"""First and second derivatives of the criterion in the relative covariances d_r, and the pieces the df are made of.

With P = H^-1 - H^-1 X Phi X'H^-1, C = [X y] and w = (-b, 1):
P_r = C'H^-1 E_r H^-1 C, Q_rt = C'H^-1 E_r H^-1 E_t H^-1 C, T_r = tr(H^-1 E_r), T_rt = tr(H^-1 E_r H^-1 E_t).
Formulas: Kenward and Roger 1997, Biometrics 53:983-997, section 3, for the matrices; the nested sums are our own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.stats.likelihood import Element, Point

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Pieces:
    """p (r, c, c), q (r, r, c, c) or None when only an approximate Hessian is asked, trace1 (r,), trace2 (r, r),
    wqw (r, r): w'Q_rt w. phi (p, p) = (X'H^-1X)^-1, w (c,), rss = y'Py."""

    p: Array
    q: Array | None
    trace1: Array
    trace2: Array
    wqw: Array
    phi: Array
    w: Array
    rss: float


def solve(s: Array) -> tuple[Array, Array, float]:
    """(Phi, w, y'Py) of S = [X y]'H^-1[X y]."""
    p = len(s) - 1
    if p == 0:
        return np.zeros((0, 0)), np.ones(1), float(s[0, 0])
    root = np.linalg.cholesky(s)
    inverse = np.linalg.solve(root[:p, :p], np.eye(p))
    beta = inverse.T @ root[p, :p]
    return inverse.T @ inverse, np.append(-beta, 1.0), float(root[p, p] ** 2)


class _Builder:
    """Collects the pieces at one point; innermost elements first, then the outer ones."""

    def __init__(self, point: Point, exact: bool) -> None:
        shape = point.shape
        self.point, self.exact = point, exact
        self.inner = [e for e in shape.elements if e.level == 0]
        self.outer = [e for e in shape.elements if e.level == 1]
        self.unit = {e: shape.unit(e) for e in shape.elements}
        self.z = slice(0, shape.qs)
        self.phi, self.w, self.rss = solve(point.answer.s)
        b_t = np.swapaxes(point.b, 1, 2)
        self.b_t = b_t
        self.held = point.sums.zw is not None
        # with R = B'Z'W at hand the weights of P and Q are re-ordered elements of 1 and K
        self.sums = point.sums.through(point.b) if self.held else point.sums
        self.left = {e: np.broadcast_to(self.unit[e], point.k.shape) for e in self.inner}
        if not self.held:
            self.left = {e: point.b @ self.unit[e] for e in self.inner}
        self.p1 = {e: self.sums.contract(self.left[e] if self.held else self.left[e] @ b_t) for e in self.inner}
        self.p1_into = {e: self.p1[e] @ point.into for e in self.inner}
        self.site_r = np.swapaxes(point.site_b, 1, 2) @ point.s1[:, self.z, shape.qs :]
        into_w = point.into @ self.w
        u = b_t @ point.sums.sandwich(into_w[:, :, None]) @ point.b if self.inner else point.k
        self.place = {e: i for i, e in enumerate(self.inner)}
        self.traces, self.wqws = (_of_pairs(paired(point, other), shape.inner_units) for other in (point.k, u))

    def pooled(self, stack: Array) -> Array:
        return np.asarray(np.tensordot(self.point.sums.outer_weight, stack, axes=(0, 0)))

    def p(self, e: Element) -> Array:
        if e.level == 0:
            return self.pooled(np.swapaxes(self.point.into, 1, 2) @ self.p1_into[e])
        return self.pooled(np.swapaxes(self.site_r, 1, 2) @ self.unit[e] @ self.site_r)

    def trace1(self, e: Element) -> float:
        point, unit = self.point, self.unit[e]
        if e.level == 1:
            return float(point.sums.outer_weight @ np.einsum("ab,sba->s", unit, point.site_k))
        inner = np.einsum("ab,mba->m", unit, point.k)
        site = np.einsum("sab,sba->s", point.site_omega, self.p1[e][:, self.z, self.z])
        return float(point.sums.full_weight @ inner - point.sums.outer_weight @ site)

    def pair(self, r: Element, t: Element) -> tuple[float, float, Array | None]:
        """(T_rt, w'Q_rt w, Q_rt)."""
        if r.level == 0 and t.level == 0:
            return self.inner_pair(r, t)
        point, w = self.point, self.w
        if r.level == 0:
            left = np.swapaxes(self.p1_into[r][:, self.z], 1, 2) @ point.site_b @ self.unit[t]
            middle = point.site_b @ self.unit[t] @ np.swapaxes(point.site_b, 1, 2)
            trace = np.einsum("sab,sba->s", self.p1[r][:, self.z, self.z], middle)
        else:
            left = np.swapaxes(self.site_r, 1, 2) @ self.unit[r] @ point.site_k @ self.unit[t]
            k_r, k_t = point.site_k @ self.unit[r], point.site_k @ self.unit[t]
            trace = np.einsum("sab,sba->s", k_r, k_t)
        q = self.pooled(left @ self.site_r)
        return float(point.sums.outer_weight @ trace), float(w @ q @ w), q

    def inner_pair(self, r: Element, t: Element) -> tuple[float, float, Array | None]:
        point, w, z = self.point, self.w, self.z
        sums = point.sums
        i, j = self.place[r], self.place[t]
        trace, wqw = float(self.traces[i, j]), float(self.wqws[i, j])
        q1 = None
        if self.exact or point.shape.qs:
            weights = self.left[r] @ point.k @ self.unit[t]
            weights = weights if self.held else weights @ self.b_t
            q1 = self.sums.contract(weights) if self.exact else None
        if point.shape.qs:
            q1_z = q1[:, z, z] if q1 is not None else self.sums.contract(weights, z)
            p_r, p_t = self.p1_into[r][:, z], self.p1_into[t][:, z]
            omega = point.site_omega
            site = -2.0 * np.einsum("sab,sba->s", omega, q1_z) + np.einsum(
                "sab,sba->s", omega @ self.p1[r][:, z, z], omega @ self.p1[t][:, z, z]
            )
            trace += float(sums.outer_weight @ site)
            wqw -= float(sums.outer_weight @ np.einsum("sa,sab,sb->s", p_r @ w, omega, p_t @ w))
        if q1 is None:
            return trace, wqw, None
        q = np.swapaxes(point.into, 1, 2) @ q1 @ point.into
        if point.shape.qs:
            q = q - np.swapaxes(p_r, 1, 2) @ omega @ p_t
        return trace, wqw, self.pooled(q)


def paired(point: Point, other: Array) -> Array:
    """Sum over the groups, with their weights, of K_ab other_cd: (q, q, q, q)."""
    q = point.shape.q
    flat = (point.k * point.sums.full_weight[:, None, None]).reshape(len(point.k), q * q)
    return np.asarray((flat.T @ other.reshape(len(point.k), q * q)).reshape(q, q, q, q))


def _of_pairs(both: Array, units: Array) -> Array:
    """Sum of tr(e_r K e_t other) from `paired` for every pair of elements, units (r, q, q): (r, r)."""
    return np.asarray(np.einsum("rab,bcda,tcd->rt", units, both, units))


def pieces(point: Point, exact: bool = True) -> Pieces:
    """All P_r, Q_rt and traces at a point; exact=False leaves Q_rt out (cheaper; enough to walk downhill)."""
    if exact and not point.shape.qs and point.sums.q and point.sums.zw is not None:
        return _pieces_of_one_grouping(point)
    build = _Builder(point, exact)
    elements = point.shape.elements
    count, c = len(elements), len(point.answer.s)
    p = np.array([build.p(e) for e in elements]).reshape(count, c, c)
    q = np.zeros((count, count, c, c))
    trace2, wqw = np.zeros((count, count)), np.zeros((count, count))
    for i, r in enumerate(elements):
        for j, t in enumerate(elements[i:], start=i):
            trace2[i, j], wqw[i, j], q_rt = build.pair(r, t)
            trace2[j, i], wqw[j, i] = trace2[i, j], wqw[i, j]
            if q_rt is not None:
                q[i, j], q[j, i] = q_rt, q_rt.T
    trace1 = np.array([build.trace1(e) for e in elements])
    return Pieces(p, q if exact else None, trace1, trace2, wqw, build.phi, build.w, build.rss)


def _pieces_of_one_grouping(point: Point) -> Pieces:
    """The same for a single grouping held group by group, where few products of matrices do all of it."""
    sums, units = point.sums, point.shape.inner_units
    assert sums.zw is not None
    phi, w, rss = solve(point.answer.s)
    b_t = np.swapaxes(point.b, 1, 2)
    r = np.asarray(b_t @ sums.zw).reshape(len(sums.rows), -1)
    u = b_t @ sums.sandwich(w[None, :, None]) @ point.b
    q = np.zeros((len(units), len(units), sums.k, sums.k))
    for b in range(sums.q):
        for c in range(b + 1):
            both = _products(r, sums.full_weight * point.k[:, b, c], sums.q)
            for x, y in {(b, c), (c, b)}:
                q += np.einsum("ra,td,aidj->rtij", units[:, :, x], units[:, y], both)
    p = np.einsum("rab,aibj->rij", units, _products(r, sums.full_weight, sums.q))
    trace1 = np.einsum("rab,ab->r", units, _summed(sums.full_weight, point.k))
    trace2, wqw = (_of_pairs(paired(point, other), units) for other in (point.k, u))
    return Pieces(p, q, trace1, trace2, wqw, phi, w, rss)


def _products(r: Array, weight: Array, q: int) -> Array:
    """Sum over the groups of weight r_ai r_bj: (q, k, q, k) from r (m, q k)."""
    k = r.shape[1] // q
    return np.asarray(((r * weight[:, None]).T @ r).reshape(q, k, q, k))


def slopes(point: Point, made: Pieces, reml: bool) -> tuple[Array, Array]:
    """Gradient (r,) and Hessian (r, r) of -2 log-likelihood in d; sigma^2 and the mean profiled out."""
    p = len(made.phi)
    nu = point.answer.n - p if reml else point.answer.n
    px = made.p[:, :p, :p]
    a = np.einsum("i,rij,j->r", made.w, made.p, made.w)
    g = made.p[:, :p] @ made.w
    gradient = made.trace1 - nu * a / made.rss
    hessian = -made.trace2 + nu * (2.0 * (made.wqw - g @ made.phi @ g.T) / made.rss - np.outer(a, a) / made.rss**2)
    if reml:
        phi_p = made.phi @ px
        gradient = gradient - np.einsum("rii->r", phi_p)
        hessian = hessian - np.einsum("rij,tji->rt", phi_p, phi_p)
        if made.q is not None:
            hessian = hessian + 2.0 * np.einsum("ij,rtji->rt", made.phi, made.q[:, :, :p, :p])
    return gradient, (hessian + hessian.T) / 2.0


def _summed(weight: Array, stack: Array) -> Array:
    """Weighted sum of a stack (m, q, q) over its groups."""
    return np.asarray((weight @ stack.reshape(len(stack), stack.shape[1] * stack.shape[2])).reshape(stack.shape[1:]))


def cheap_slopes(point: Point, reml: bool, exact: bool = False) -> tuple[Array, Array]:
    """Exact gradient and nearly exact Hessian in d; the Hessian leaves out what the mean's terms add, unless `exact`.

    One pass over the groups for a single grouping; enough to walk downhill.
    """
    shape, sums = point.shape, point.sums
    if shape.qs or (exact and sums.zw is None):
        return slopes(point, pieces(point, exact), reml)
    phi, w, rss = solve(point.answer.s)
    nu = point.answer.n - len(phi) if reml else point.answer.n
    weight, units = sums.full_weight, shape.inner_units
    r, u, of_mean = _through_b(point, w, phi)
    slope = _summed(weight, point.k - u * (nu / rss) - (of_mean if reml else 0.0))
    flat = units.reshape(len(units), -1)
    gradient, a = flat @ slope.ravel(), flat @ _summed(weight, u).ravel()
    trace2, wqw = (_of_pairs(paired(point, other), units) for other in (point.k, u))
    hessian = -trace2 + nu * (2.0 * wqw / rss - np.outer(a, a) / rss**2)
    if exact:
        assert r is not None
        p = np.einsum("rab,aibj->rij", units, _products(r, weight, sums.q))[:, :-1]
        g = p @ w
        hessian -= 2.0 * nu / rss * (g @ phi @ g.T)
        if reml:
            phi_p = phi @ p[:, :, :-1]
            hessian += 2.0 * _of_pairs(paired(point, of_mean), units) - np.einsum("rij,tji->rt", phi_p, phi_p)
    return gradient, (hessian + hessian.T) / 2.0


def _through_b(point: Point, w: Array, phi: Array) -> tuple[Array | None, Array, Array]:
    """(R = B'Z'W as (m, q k), R w w'R', R Phi R') per innermost group of a single grouping; no R for patterns."""
    sums = point.sums
    b_t = np.swapaxes(point.b, 1, 2)
    columns = np.zeros((len(w), len(w)))
    columns[:, 0], columns[:-1, 1:] = w, np.linalg.cholesky(phi)
    if sums.zw is None:
        u, of_mean = (b_t @ sums.sandwich(part[None]) @ point.b for part in (columns[:, :1], columns[:, 1:]))
        return None, u, of_mean
    r = b_t @ sums.zw
    half = (r.reshape(-1, sums.k) @ columns).reshape(*r.shape[:2], len(w))
    own, rest = half[:, :, 0], half[:, :, 1:]
    return r.reshape(len(r), -1), own[:, :, None] * own[:, None, :], np.asarray(rest @ np.swapaxes(rest, 1, 2))
