"""The profiled criterion of a nested linear mixed model from its sums, with exact first and second derivatives.

V = sigma^2 H, H = I + sum_r d_r E_r, linear in the relative covariances d_r (elements of D within the innermost
grouping, then of the outer one). Innermost groups are eliminated first, outer groups next (Bates et al. 2015):
B = (I + D G)^-1, Omega = B D, K = G B, with G = Z'Z. Nothing of the size of the rows is formed.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pipeline.stats.sums import Sums

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Element:
    """One free element d_r of the relative covariances: level 0 innermost, 1 outer; row and column."""

    level: int
    a: int
    b: int


@dataclass(frozen=True)
class Shape:
    """Sizes of the two random parts and whether each has covariances."""

    q: int
    correlated: bool
    qs: int
    outer_correlated: bool

    @cached_property
    def elements(self) -> tuple[Element, ...]:
        """Free elements of D (innermost), then of Ds (outer), lower triangle by rows."""
        parts = ((0, self.q, self.correlated), (1, self.qs, self.outer_correlated))
        return tuple(
            Element(level, a, b)
            for level, size, full in parts
            for a in range(size)
            for b in range(a + 1)
            if full or a == b
        )

    def unit(self, element: Element) -> Array:
        """Symmetric 0/1 matrix of an element: V's derivative with respect to d_r is Z unit Z'."""
        size = (self.q, self.qs)[element.level]
        unit = np.zeros((size, size))
        unit[element.a, element.b] = unit[element.b, element.a] = 1.0
        return unit

    @cached_property
    def inner_units(self) -> Array:
        """The unit matrices of the innermost elements (r, q, q)."""
        units = [self.unit(e) for e in self.elements if e.level == 0]
        return np.array(units).reshape(len(units), self.q, self.q)

    def factors(self, theta: Array) -> tuple[Array, Array]:
        """Lower factors (Lambda, Lambda_s) of D and Ds from their free elements."""
        factors = (np.zeros((self.q, self.q)), np.zeros((self.qs, self.qs)))
        for value, element in zip(theta, self.elements, strict=True):
            factors[element.level][element.a, element.b] = value
        return factors

    def values(self, d: Array, ds: Array) -> Array:
        """The free elements d_r of D and Ds, in the order of `elements`."""
        return np.array([(d, ds)[e.level][e.a, e.b] for e in self.elements])


def eliminate(d: Array, g: Array) -> tuple[Array, Array, Array, Array]:
    """B = (I + D G)^-1, Omega = B D, K = G B and log|I + D G| for a stack of G (m, q, q); D may be singular."""
    q = g.shape[1]
    if q == 0:
        return g, g, g, np.zeros(len(g))
    if q == 1:
        det = 1.0 + d[0, 0] * g
        return 1.0 / det, d / det, g / det, np.log(det[:, 0, 0])
    if q == 2:
        return _eliminate_two(d, g)
    values, vectors = np.linalg.eigh(d)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    middle = np.eye(q) + root.T @ g @ root
    inverse = np.linalg.inv(middle)
    omega = root @ inverse @ root.T
    b = np.eye(q) - omega @ g
    k = g @ b
    return b, omega, (k + np.swapaxes(k, 1, 2)) / 2.0, np.linalg.slogdet(middle)[1]


def _eliminate_two(d: Array, g: Array) -> tuple[Array, Array, Array, Array]:
    """The same in closed form for two random columns: sums of positive terms only, so no cancellation."""
    d_det = max(d[0, 0] * d[1, 1] - d[0, 1] * d[1, 0], 0.0)
    g00, g01, g11 = g[:, 0, 0], g[:, 0, 1], g[:, 1, 1]
    g_det = np.maximum(g00 * g11 - g01 * g01, 0.0)
    det = 1.0 + d[0, 0] * g00 + 2.0 * d[0, 1] * g01 + d[1, 1] * g11 + d_det * g_det
    d_adj = np.array([[d[1, 1], -d[0, 1]], [-d[1, 0], d[0, 0]]])
    g_adj = np.empty_like(g)
    g_adj[:, 0, 0], g_adj[:, 1, 1] = g11, g00
    g_adj[:, 0, 1] = g_adj[:, 1, 0] = -g01
    scale = 1.0 / det[:, None, None]
    b = (np.eye(2) + g_adj @ d_adj) * scale
    omega = (d + d_det * g_adj) * scale
    k = (g + g_det[:, None, None] * d_adj) * scale
    return b, omega, k, np.log(det)


@dataclass(frozen=True)
class Answer:
    """What a set of whole outer groups answers for requested D, Ds; answers of disjoint sets add up.

    s (c, c): [X y]'H^-1[X y]. log_det: log|H|. n: rows.
    """

    s: Array
    log_det: float
    n: float

    def __add__(self, other: Answer) -> Answer:
        return Answer(self.s + other.s, self.log_det + other.log_det, self.n + other.n)

    def criterion(self, reml: bool) -> float:
        """-2 log-likelihood, sigma^2 and the mean profiled out; inf where X'H^-1X is not positive definite."""
        p = len(self.s) - 1
        try:
            root = np.linalg.cholesky(self.s)
        except np.linalg.LinAlgError:
            return float("inf")
        nu = self.n - p if reml else self.n
        log_x = 2.0 * float(np.log(np.diag(root)[:p]).sum()) if reml else 0.0
        return float(self.log_det + log_x + nu * (1.0 + np.log(2.0 * np.pi * root[p, p] ** 2 / nu)))


@dataclass(frozen=True)
class Point:
    """The sums with both levels eliminated at D, Ds.

    b, omega, k (m, q, q) innermost; site_b, site_omega, site_k (s, qs, qs) outer; s1 (s, k, k) = W'H1^-1W before the
    outer elimination; into (s, k, c): [X y]'s columns after it, H^-1[X y] = H1^-1 W into.
    """

    sums: Sums
    shape: Shape
    d: Array
    ds: Array
    b: Array
    omega: Array
    k: Array
    site_b: Array
    site_omega: Array
    site_k: Array
    s1: Array
    into: Array
    answer: Answer


def evaluate(sums: Sums, shape: Shape, d: Array, ds: Array) -> Point:
    """Eliminate both levels at relative covariances D (q, q) and Ds (qs, qs)."""
    b, omega, k, log_det = eliminate(d, sums.zz)
    s1 = sums.total - sums.contract(omega)
    qs = shape.qs
    log_h = float(sums.full_weight @ log_det)
    if qs == 0:
        pooled = sums.outer_weight @ s1.reshape(len(s1), -1)
        s = pooled.reshape(sums.k, sums.k)
        none = s1[:, :0, :0]
        into = np.broadcast_to(np.eye(sums.k), s1.shape)
        whole = Answer((s + s.T) / 2.0, log_h, sums.n)
        return Point(sums, shape, d, ds, b, omega, k, none, none, none, s1, into, whole)
    site_g = (s1[:, :qs, :qs] + np.swapaxes(s1[:, :qs, :qs], 1, 2)) / 2.0
    site_b, site_omega, site_k, site_log_det = eliminate(ds, site_g)
    columns = s1.shape[1] - qs
    into = np.concatenate(
        [-site_omega @ s1[:, :qs, qs:], np.broadcast_to(np.eye(columns), (len(s1), columns, columns))], 1
    )
    s = s1[:, qs:, qs:] + s1[:, qs:, :qs] @ into[:, :qs]
    pooled = np.einsum("s,sij->ij", sums.outer_weight, s)
    log_h += float(sums.outer_weight @ site_log_det)
    answer = Answer((pooled + pooled.T) / 2.0, log_h, sums.n)
    return Point(sums, shape, d, ds, b, omega, k, site_b, site_omega, site_k, s1, into, answer)


def answer(sums: Sums, shape: Shape, d: Array, ds: Array) -> Answer:
    """S(theta) and log|H| of these groups: what a whole site would send back for requested D and Ds."""
    return evaluate(sums, shape, d, ds).answer
