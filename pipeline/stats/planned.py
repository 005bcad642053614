"""What a design can show before any outcome is seen: error, degrees of freedom and power of a contrast for assumed V.

V = Z Psi Z' + sigma^2 I within each group, X'V^-1X and the small-sample terms as Kenward and Roger 1997, Biometrics
53:983-997, give them: here V is stated and not estimated, but the outcomes to come will have to estimate it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, partial
from math import inf, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri, stdtrit

from pipeline.stats.likelihood import Shape
from pipeline.stats.noncentral import noncentral_t_cdf, noncentrality
from pipeline.stats.sums import Sums

Array = NDArray[np.float64]
MANY = 1e6
"""Degrees of freedom from which on t is the normal distribution."""


@dataclass(frozen=True)
class Planned:
    """Sums over the groups of a design, with A_k = dV/dpsi_k for the elements of Psi and sigma^2 (r of them).

    information (p, p): X'V^-1X. first (r, p, p): X'V^-1 A_k V^-1 X. second (r, r, p, p): X'V^-1 A_k V^-1 A_l V^-1 X.
    trace (r, r): tr(V^-1 A_k V^-1 A_l).
    """

    information: Array
    first: Array
    second: Array
    trace: Array

    @cached_property
    def covariance(self) -> Array:
        """(X'V^-1X)^-1 (p, p), of what can be told apart (see `error`)."""
        scale = _scale(self.information)
        inverse = np.linalg.pinv(self.information / np.outer(scale, scale), rcond=1e-10, hermitian=True)
        return np.asarray(inverse / np.outer(scale, scale))

    @cached_property
    def _spread(self) -> Array:
        """Covariance (r, r) of the REML estimates of psi: the inverse of their expected information."""
        each = self.covariance @ self.first
        information = 0.5 * (self.trace - 2.0 * np.einsum("ij,rsji->rs", self.covariance, self.second)
                             + np.einsum("rij,sji->rs", each, each))  # fmt: skip
        return np.linalg.pinv(information, rcond=1e-12, hermitian=True)

    @cached_property
    def adjusted(self) -> Array:
        """The covariance (p, p) with what estimating V adds to it: Phi + 2 Phi (sum W_kl (Q_kl - P_k Phi P_l)) Phi."""
        phi = self.covariance
        inner = self.second - np.einsum("rij,jk,skl->rsil", self.first, phi, self.first)
        return np.asarray(phi + 2.0 * phi @ np.einsum("rs,rsij->ij", self._spread, inner) @ phi)

    def error(self, weights: Array) -> float:
        """Standard error of a contrast (p,) in the outcome's unit; infinite where the design cannot tell it."""
        return _error(self.information, self.covariance, self.adjusted, weights)

    def df(self, weights: Array) -> float:
        """Satterthwaite's degrees of freedom of a contrast (p,), which for one contrast are Kenward and Roger's."""
        phi = self.covariance @ weights
        slope = np.einsum("i,rij,j->r", phi, self.first, phi)
        spread = float(slope @ self._spread @ slope)
        return 2.0 * float(weights @ phi) ** 2 / spread if spread > 0 else inf

    def detectable(self, weights: Array, power: float = 0.8, alpha: float = 0.05) -> float:
        """Smallest true contrast that a test at `alpha` (two-sided) finds with this power; infinite if never."""
        return self.error(weights) * errors_to_detect(self.df(weights), power, alpha)


def errors_to_detect(df: float, power: float = 0.8, alpha: float = 0.05, sides: int = 2) -> float:
    """Standard errors that a true value must be away from 0 to be found: 2.80 for df without end, 80 % and 5 %.

    The t of the test is noncentral; the other tail, where a finding has the wrong sign, is left out.
    """
    if not df >= 1.0:
        return inf
    if df > MANY:
        return float(ndtri(1 - alpha / sides) + ndtri(power))
    return noncentrality(float(stdtrit(df, 1 - alpha / sides)), df, 1 - power)


def power_of(size_in_errors: float, df: float, alpha: float = 0.05, sides: int = 2) -> float:
    """Chance of finding a true value so many standard errors from 0, with its own sign."""
    if df > MANY:
        return float(ndtr(size_in_errors - ndtri(1 - alpha / sides)))
    return 1.0 - noncentral_t_cdf(float(stdtrit(df, 1 - alpha / sides)), df, size_in_errors)


def planned(x: Array, z: Array, starts: NDArray[np.intp], psi: Array, residual_sd: float) -> Planned:
    """Sums of a design: x (n, p), z (n, q), rows in order of groups that begin at `starts` (m,); psi (q, q).

    Groups with the same number of rows go through together.
    """
    p, q = x.shape[1], z.shape[1]
    elements = [(i, j) for i in range(q) for j in range(i + 1)]
    r = len(elements) + 1
    made = Planned(np.zeros((p, p)), np.zeros((r, p, p)), np.zeros((r, r, p, p)), np.zeros((r, r)))
    sizes = np.diff(np.append(starts, len(x)))
    for size in np.unique(sizes):
        rows = starts[sizes == size][:, None] + np.arange(size)
        _add(made, x[rows], z[rows], elements, psi, residual_sd)
    return made


def planned_from_sums(sums: Sums, psi: Array, residual_sd: float, columns: slice) -> Planned:
    """The same from the sums of a design, group by group or in patterns: X the given columns of W, psi (q, q) of the
    first q random columns.

    With G = Z'Z of a group, s = sigma^2 and M = psi (s I + G psi)^-1: V^-1 = (I - Z M Z') / s and V^-1 Z = Z K with
    K = (I - M G) / s, so that each sum is Z'X times small matrices times Z'X, and a multiple of X'X. Products that SQL
    holds as their symmetric half give the symmetric half of `second`, of which nothing else is read.
    """
    own, q, s = sums.only(len(psi), 0), len(psi), residual_sd**2
    g, one = own.zz, np.eye(len(psi))
    m = psi @ np.linalg.inv(s * one + g @ psi)
    m = (m + m.transpose(0, 2, 1)) / 2.0
    k = (one - m @ g) / s
    two = m @ g @ m - 2.0 * m  # V^-2 = (I + Z two Z') / s^2
    three = two - m - m @ g @ two  # V^-3 = (I + Z three Z') / s^3
    units = Shape(q, True, 0, True).inner_units
    ends = [k @ e @ k.transpose(0, 2, 1) for e in units]  # V^-1 A V^-1 = Z end Z'
    r, product = len(units) + 1, partial(_product, own, columns)
    first = np.stack([*(product(e) for e in ends), product(two / s**2, 1.0 / s**2)])
    second = np.empty((r, *first.shape))
    for a, b in np.ndindex(r - 1, r - 1):
        second[a, b] = product(k @ units[a] @ g @ ends[b])
    for a, end in enumerate(ends):
        second[-1, a] = product(k @ end)
        second[a, -1] = second[-1, a].T
    second[-1, -1] = product(three / s**3, 1.0 / s**3)
    # tr(V^-1 A_a V^-1 A_b): A = Z E Z' has tr(E Z'V^-1Z E Z'V^-1Z)
    inner = [e @ g @ k for e in units]
    trace = np.empty((r, r))
    trace[:-1, :-1] = [[_trace(own, x @ y) for y in inner] for x in inner]
    trace[-1, :-1] = trace[:-1, -1] = [_trace(own, x @ k) for x in inner]
    trace[-1, -1] = (own.n + _trace(own, two @ g)) / s**2
    return Planned(product(-m / s, 1.0 / s), first, second, trace)


def _product(sums: Sums, columns: slice, inner: Array, share: float = 0.0) -> Array:
    """Sum over the groups of X'(share I + Z inner Z')X, inner (m, q, q)."""
    made = share * sums.total[:, columns, columns] + sums.contract(inner, columns)
    return np.asarray(np.tensordot(sums.outer_weight, made, axes=(0, 0)))


def _trace(sums: Sums, each: Array) -> float:
    """Sum over the groups of the traces of each (m, q, q)."""
    return float(sums.full_weight @ np.einsum("maa->m", each))


def _add(made: Planned, x: Array, z: Array, elements: list[tuple[int, int]], psi: Array, residual_sd: float) -> None:
    """Add groups of one size: x (m, k, p), z (m, k, q)."""
    one = np.eye(x.shape[1])
    inverse = np.linalg.inv(z @ psi @ z.transpose(0, 2, 1) + residual_sd**2 * one)
    ends = [np.einsum("ma,mb->mab", z[:, :, i], z[:, :, j]) for i, j in elements]
    ends = [e if i == j else e + e.transpose(0, 2, 1) for e, (i, j) in zip(ends, elements, strict=True)]
    steps = [inverse @ e for e in (*ends, one[None])]
    vx = inverse @ x
    made.information[:] += np.einsum("mki,mkj->ij", x, vx)
    ahead = [s @ vx for s in steps]  # V^-1 A_k V^-1 x
    for k, before in enumerate(ahead):
        made.first[k] += np.einsum("mki,mkj->ij", x, before)
        for other, step in enumerate(steps):
            made.second[other, k] += np.einsum("mki,mkj->ij", x, step @ before)
            made.trace[other, k] += float(np.einsum("mab,mba->", step, steps[k]))


def _scale(information: Array) -> Array:
    return np.sqrt(np.where(np.diag(information) > 0, np.diag(information), 1.0))


def _error(information: Array, covariance: Array, adjusted: Array, weights: Array) -> float:
    scale = _scale(information)
    left_over = (weights - weights @ covariance @ information) / scale
    if np.abs(left_over).max(initial=0.0) > 1e-5 * max(1.0, float(np.abs(weights / scale).max(initial=0.0))):
        return inf
    variance = float(weights @ adjusted @ weights)
    return sqrt(variance) if variance > 0 else inf
