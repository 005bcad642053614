"""A small stand-alone fit for the study of the stalled rule: population curve, random level and slope, ML.

Not the pipeline's engine on purpose: the study is about the rule, and a second way to a gain keeps the two apart.
Every person's 2 x 2 block is solved at once, so a cohort of 240 takes a fraction of a second.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

KNOTS = (4.0, 8.0, 12.0)


@dataclass(frozen=True)
class Fit:
    """Pooled residual SD, and per person the model gain from week 0 to the last test with its SE, in cmH2O."""

    residual_sd: float
    gain: np.ndarray
    gain_std_error: np.ndarray


def curve(weeks: np.ndarray) -> np.ndarray:
    """Population curve: level, slope, and a bend at each of KNOTS (weeks); last axis the columns."""
    bends = [np.clip(weeks - knot, 0, None) / 12 for knot in KNOTS]
    return np.stack([np.ones_like(weeks), weeks / 12, *bends], axis=-1)


def _blocks(log_parameters, weeks, values, there):
    level, slope, residual = np.exp(np.clip(log_parameters[[0, 1, 3]], -6, 6))
    correlation = np.tanh(log_parameters[2])
    covariance = np.array([[level**2, correlation * level * slope], [correlation * level * slope, slope**2]])
    covariance += 1e-6 * np.eye(2)
    z = np.stack([np.ones_like(weeks), weeks / 12], axis=-1) * there[..., None]
    x, y = curve(weeks) * there[..., None], values * there
    inner = np.linalg.inv(np.linalg.inv(covariance) + np.einsum("itp,itq->ipq", z, z) / residual**2)
    return covariance, residual, x, y, z, inner


def _solve(log_parameters, weeks, values, there):
    covariance, residual, x, y, z, inner = _blocks(log_parameters, weeks, values, there)
    zx, zy = np.einsum("itp,itk->ipk", z, x), np.einsum("itp,it->ip", z, y)
    xvx = np.einsum("itk,itl->kl", x, x) / residual**2
    xvx -= np.einsum("ipk,ipq,iql->kl", zx, inner, zx) / residual**4
    xvy = np.einsum("itk,it->k", x, y) / residual**2 - np.einsum("ipk,ipq,iq->k", zx, inner, zy) / residual**4
    beta = np.linalg.solve(xvx, xvy)
    error = y - x @ beta * there
    ze = np.einsum("itp,it->ip", z, error)
    quadratic = (error**2).sum() / residual**2 - np.einsum("ip,ipq,iq->", ze, inner, ze) / residual**4
    n = there.sum(axis=1)
    log_det = (2 * n * np.log(residual) + np.linalg.slogdet(covariance)[1] - np.linalg.slogdet(inner)[1]).sum()
    person = np.einsum("ipq,iq->ip", inner, ze) / residual**2
    return log_det + quadratic, residual, beta, np.linalg.inv(xvx), inner, person


def fit(weeks: np.ndarray, values: np.ndarray, there: np.ndarray) -> Fit:
    """Fit people (rows) by tests (columns); ``there`` is 1 for a test that took place, 0 for filling."""
    start = np.log([18.0, 8.0, 1.0, 8.0]) * [1, 1, 0, 1]
    found = minimize(lambda p: _solve(p, weeks, values, there)[0], start, method="Nelder-Mead",
                     options={"xatol": 1e-3, "fatol": 1e-3, "maxiter": 600})  # fmt: skip
    _, residual, beta, beta_covariance, inner, person = _solve(found.x, weeks, values, there)
    last = (weeks * there).max(axis=1)
    contrast = curve(last) - curve(np.zeros_like(last))
    gain = contrast @ beta + person[:, 1] * last / 12
    variance = np.einsum("ik,kl,il->i", contrast, beta_covariance, contrast) + inner[:, 1, 1] * (last / 12) ** 2
    return Fit(float(residual), gain, np.sqrt(variance))
