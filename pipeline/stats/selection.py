"""Gains that no training made: regression to the mean after a selection, and the best of more efforts."""

from __future__ import annotations

from functools import lru_cache
from math import log, pi, sqrt

import numpy as np
from scipy.optimize import brentq
from scipy.special import log_ndtr, ndtr

NEAREST_TO_THE_CUT = 0.25
"""SDs under the cut below which the mean of the picked says too little about the people they were picked from."""


def _mean_below(z: float) -> float:
    """Mean of a standard normal below z: -phi(z)/Phi(z), computed in logarithms so that a far tail stays finite."""
    return -float(np.exp(-z * z / 2 - log(2 * pi) / 2 - log_ndtr(z)))


def excess_when_picked(mean_cmh2o: float, everybody_cmh2o: float, sd_between: float, sem: float) -> float:
    """Rise at the next test of people picked by their measured value, had nothing changed, in the values' unit.

    sem^2 / (sd_between^2 + sem^2) x (mean of those they were picked from - their own measured mean). Source: Barnett,
    van der Pols and Dobson 2005, Int J Epidemiol 34:215-220 (after James 1973 and Davis 1976).
    """
    return sem**2 / (sd_between**2 + sem**2) * (everybody_cmh2o - mean_cmh2o)


def excess_when_picked_below(cut: float, mean_of_picked: float, sd_between: float, sem: float) -> float:
    """The same for people taken in because their measured value lay below `cut`; all in the values' unit.

    The mean of those they were picked from is found by the normal curve: the one whose part below the cut has the
    mean of the picked. ValueError where that mean lies above the cut or within 0.25 SD under it.
    """
    sd = sqrt(sd_between**2 + sem**2)
    if cut - mean_of_picked < NEAREST_TO_THE_CUT * sd:
        raise ValueError("the mean of those picked lies too close to the cut to tell whom they were picked from")

    def too_high(everybody: float) -> float:
        return everybody + sd * _mean_below((cut - everybody) / sd) - mean_of_picked

    everybody = float(brentq(too_high, mean_of_picked, mean_of_picked + 10 * sd, xtol=1e-9))
    return excess_when_picked(mean_of_picked, everybody, sd_between, sem)


@lru_cache(maxsize=64)
def best_of_sd(efforts: int) -> float:
    """Expected best of `efforts` equal efforts above their mean, in SDs of one effort: 0 for one, 0.846 for three.

    The mean of the largest of n standard normals, by the trapezoid rule. Source: Tippett 1925, Biometrika 17:364-87.
    """
    if efforts < 1:
        raise ValueError("efforts: expected 1 or more")
    x = np.linspace(-12.0, 12.0, 4801)
    density = efforts * np.exp(-x * x / 2) / sqrt(2 * pi) * ndtr(x) ** (efforts - 1)
    return float(np.sum(x * density) * (x[1] - x[0]))
