"""Degrees of freedom and small-sample covariance of the mean: Kenward-Roger and Satterthwaite.

Kenward and Roger 1997, Biometrics 53:983-997; Satterthwaite 1946, Biometrics Bulletin 2:110-114. V is linear in
psi = (the elements of Psi, sigma^2), so their matrices are exact sums over groups, with no matrix of the rows' size.
Everything here is in standardised columns; rows L of a contrast come in through Basis.contrast.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pipeline.stats.derivatives import Pieces, slopes
from pipeline.stats.factors import curvature, jacobian
from pipeline.stats.likelihood import Point, Shape

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Linear:
    """The pieces in psi = (sigma^2 d_1 .. sigma^2 d_R, sigma^2), V = sum psi_r E_r + sigma^2 I.

    p (R+1, c, c), q (R+1, R+1, c, c), trace2 (R+1, R+1); phi (p, p) = (X'V^-1X)^-1; w (c,); psi (R+1,). theta (R,):
    free elements of the factors of D; slope (R,): gradient of -2 log-likelihood in psi (0 at an interior optimum);
    free (R+1, t): the directions in which psi may move (all of them, unless zero variances were dropped).
    """

    p: Array
    q: Array
    trace2: Array
    phi: Array
    w: Array
    psi: Array
    reml: bool
    shape: Shape
    theta: Array
    slope: Array
    free: Array

    @property
    def sigma2(self) -> float:
        """Residual variance, standardised."""
        return float(self.psi[-1])

    @cached_property
    def expected(self) -> Array:
        """Twice the expected information of psi under REML: tr(P E_r P E_s)."""
        p = len(self.phi)
        px = self.phi @ self.p[:, :p, :p]
        cross = np.einsum("ij,rsji->rs", self.phi, self.q[:, :, :p, :p])
        return np.asarray(self.trace2 - 2.0 * cross + np.einsum("rij,sji->rs", px, px))

    @cached_property
    def observed(self) -> Array:
        """Hessian of -2 log-likelihood in psi, the mean profiled out."""
        p = len(self.phi)
        g = self.p[:, :p] @ self.w
        wqw = np.einsum("i,rsij,j->rs", self.w, self.q, self.w)
        first = self.expected if self.reml else self.trace2
        return np.asarray(-first + 2.0 * (wqw - g @ self.phi @ g.T))

    @cached_property
    def kr_variances(self) -> Array:
        """Asymptotic covariance W of psi from the expected information, in the directions that are free."""
        return np.asarray(self.free @ (2.0 * inverse(self.free.T @ self.expected @ self.free)) @ self.free.T)

    @cached_property
    def variances(self) -> Array:
        """Covariance of psi from the observed Hessian, taken in the factors of Psi, where an edge is no edge."""
        scaled = np.sqrt(self.sigma2) * self.theta
        change = np.eye(len(self.psi))
        change[:-1, :-1] = jacobian(self.shape, scaled)
        hessian = change.T @ self.observed @ change
        hessian[:-1, :-1] += curvature(self.shape, self.slope)
        return np.asarray(change @ (2.0 * inverse(hessian)) @ change.T)

    @cached_property
    def adjusted(self) -> Array:
        """Phi_A, the covariance of the mean adjusted for estimating psi."""
        p = len(self.phi)
        px = self.p[:, :p, :p]
        inner = np.einsum("rs,rsij->ij", self.kr_variances, self.q[:, :, :p, :p])
        inner -= np.einsum("rij,rjl->il", px @ self.phi, np.tensordot(self.kr_variances, px, axes=(1, 0)))
        return np.asarray(self.phi + 2.0 * self.phi @ ((inner + inner.T) / 2.0) @ self.phi)

    @cached_property
    def spread(self) -> Array:
        """Phi P_r Phi (R+1, p, p): how Phi moves with psi."""
        p = len(self.phi)
        return self.phi @ self.p[:, :p, :p] @ self.phi


def inverse(matrix: Array) -> Array:
    """Inverse of a symmetric matrix after scaling its diagonal to 1."""
    size = np.sqrt(np.abs(np.diag(matrix)))
    size = np.where(size > 0, size, 1.0)
    scaled = matrix / np.outer(size, size)
    try:
        found = np.linalg.inv(scaled)
    except np.linalg.LinAlgError:
        found = np.linalg.pinv(scaled, hermitian=True)
    return np.asarray(found / np.outer(size, size))


def linear(point: Point, made: Pieces, reml: bool, theta: Array, free: Array) -> Linear:
    """Move the pieces from (d, sigma^2 profiled) to psi, adding the residual by I = H - sum d_r E_r.

    free (R, t): directions in which d may move.
    """
    assert made.q is not None
    d = point.shape.values(point.d, point.ds)
    s = point.answer.s
    p = len(s) - 1
    sigma2 = made.rss / (point.answer.n - p if reml else point.answer.n)
    dp = np.einsum("r,rij->ij", d, made.p)
    dq = np.einsum("t,rtij->rij", d, made.q)
    dqd = np.einsum("r,rij->ij", d, dq)
    count = len(d)
    p_all = np.concatenate([made.p, (s - dp)[None]]) / sigma2**2
    q_all = np.empty((count + 1, count + 1, *s.shape))
    q_all[:count, :count] = made.q
    q_all[:count, count] = made.p - dq
    q_all[count, :count] = np.swapaxes(made.p - dq, 1, 2)
    q_all[count, count] = s - 2.0 * dp + dqd
    t2 = np.empty((count + 1, count + 1))
    t2[:count, :count] = made.trace2
    t2[:count, count] = t2[count, :count] = made.trace1 - made.trace2 @ d
    t2[count, count] = point.answer.n - 2.0 * d @ made.trace1 + d @ made.trace2 @ d
    psi = np.append(sigma2 * d, sigma2)
    slope = slopes(point, made, reml)[0] / sigma2
    all_free = np.zeros((count + 1, free.shape[1] + 1))
    all_free[:count, :-1], all_free[count, -1] = free, 1.0
    return Linear(
        p_all,
        q_all / sigma2**3,
        t2 / sigma2**2,
        made.phi * sigma2,
        made.w,
        psi,
        reml,
        point.shape,
        theta,
        slope,
        all_free,
    )


def df_each(made: Linear, rows: Array, method: str) -> Array:
    """df of each single contrast, rows (r, p): 2 (c'Phi c)^2 / (g' W g), g_r = c'Phi P_r Phi c.

    For one row Kenward and Roger's formula reduces to this with the expected information; Satterthwaite's has the
    observed.
    """
    covariance = made.kr_variances if method == "kenward-roger" else made.variances
    variance = np.einsum("ri,ij,rj->r", rows, made.phi, rows)
    slope = np.einsum("srj,rj->rs", rows @ made.spread, rows)
    return np.asarray(2.0 * variance**2 / np.einsum("rs,st,rt->r", slope, covariance, slope))


def kr_f(made: Linear, rows: Array, estimate: Array) -> tuple[float, float]:
    """(scaled F, denominator df) of H0: L b = 0, L (l, p) of full row rank. Kenward and Roger 1997, section 2."""
    size = len(rows)
    theta = rows.T @ np.linalg.solve(rows @ made.phi @ rows.T, rows)
    moved = np.einsum("ij,rjk->rik", theta, made.spread)
    trace = np.einsum("rii->r", moved)
    w = made.kr_variances
    a1 = float(trace @ w @ trace)
    a2 = float(np.einsum("rs,rij,sji->", w, moved, moved))
    b = (a1 + 6.0 * a2) / (2.0 * size)
    g = ((size + 1) * a1 - (size + 4) * a2) / ((size + 2) * a2)
    share = 3 * size + 2 * (1 - g)
    c1, c2, c3 = g / share, (size - g) / share, (size + 2 - g) / share
    # (1 - A2/l) cancels against (1 - c2 B) for a single row, where both may be near 0
    v0, v1, v2 = 1.0 + c1 * b, 1.0 - c2 * b, 1.0 - c3 * b
    e_inverse = 1.0 - a2 / size
    ratio = 1.0 if abs(e_inverse) < 1e-14 and abs(v1) < 1e-14 else e_inverse / v1
    rho = ratio**2 * v0 / v2 / size
    df = 4.0 + (size + 2) / (size * rho - 1.0)
    scale = 1.0 if abs(df - 2.0) < 1e-2 else df * e_inverse / (df - 2.0)
    f = float(estimate @ np.linalg.solve(rows @ made.adjusted @ rows.T, estimate)) / size
    return scale * f, float(df)


def satterthwaite_f(made: Linear, rows: Array, estimate: Array) -> tuple[float, float]:
    """(F, denominator df) by the eigenvectors of L Phi L' (Fai and Cornelius 1996, J Stat Comput Simul 54:363-378)."""
    covariance = rows @ made.phi @ rows.T
    values, vectors = np.linalg.eigh(covariance)
    turned = vectors.T @ rows
    f = float(((vectors.T @ estimate) ** 2 / values).mean())
    df = df_each(made, turned, "satterthwaite")
    size = len(rows)
    if size == 1:
        return f, float(df[0])
    if np.ptp(df) < 1e-8 * df.max():
        return f, float(df.mean())
    if df.min() <= 2.0:
        return f, 2.0
    e = float((df / (df - 2.0)).sum())
    return f, 2.0 * e / (e - size)
