"""Who was given which group, as a multinomial logistic model, and the weights made from it.

P(group k | x) = exp(x b_k) / sum_l exp(x b_l), b of the first group 0; maximum likelihood by Newton's method. Overlap
weights (Li, Morgan and Zaslavsky 2018, J Am Stat Assoc 113:390-400; more groups: Li and Li 2019, Ann Appl Stat
13:2389-2415) weigh everybody by the chance of the other group; with two groups and this model the weighted means of
every column of x are then equal, exactly. Inverse-probability weights are 1 / the chance of the own group.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.stats.model import CannotFit

Array = NDArray[np.float64]
Index = NDArray[np.intp]

MAX_STEPS = 100
STILL = 1e-8  # largest step, in standardised columns, that is the last one: it leaves about its square
SURE = 25.0  # a standardised linear predictor beyond this tells somebody's group with certainty
ALIASED = 1e-9  # length of a standardised column, once earlier ones are taken off, under which it adds nothing


@dataclass(frozen=True)
class Propensity:
    """groups (k,), the first is the reference. coefficients (k - 1, p), NaN for a column that follows from others;
    std_errors the same shape; probabilities (n, k); log_likelihood of the rows, weighted.
    """

    groups: tuple[str, ...]
    coefficients: Array
    std_errors: Array
    probabilities: Array
    log_likelihood: float
    steps: int

    def of(self, group: str) -> Array:
        """Chance of one group for everybody (n,)."""
        return np.asarray(self.probabilities[:, self.groups.index(group)])


def _kept(x: Array) -> list[int]:
    """Columns that do not follow from earlier ones."""
    length = np.linalg.norm(x, axis=0)
    left = np.abs(np.diag(np.linalg.qr(x / np.where(length > 0, length, 1.0), mode="r")))
    return [j for j in range(x.shape[1]) if j < len(left) and left[j] > ALIASED and length[j] > 0]


def _chances(x: Array, b: Array) -> Array:
    """Probabilities (n, k) from columns (n, p) and coefficients (k - 1, p)."""
    eta = np.concatenate([np.zeros((len(x), 1)), x @ b.T], axis=1)
    grown = np.exp(eta - eta.max(axis=1, keepdims=True))
    return np.asarray(grown / grown.sum(axis=1, keepdims=True))


def _information(x: Array, chance: Array, weight: Array) -> Array:
    """Information of the stacked coefficients ((k - 1) p, (k - 1) p)."""
    m, p = chance.shape[1] - 1, x.shape[1]
    out = np.empty((m, p, m, p))
    for i in range(m):
        for j in range(m):
            spread = chance[:, i + 1] * (float(i == j) - chance[:, j + 1]) * weight
            out[i, :, j, :] = x.T @ (x * spread[:, None])
    return out.reshape(m * p, m * p)


def _log_likelihood(chance: Array, own: Index, weight: Array) -> float:
    with np.errstate(divide="ignore"):
        return float(weight @ np.log(chance[np.arange(len(own)), own]))


def _is_sound(information: Array, total: float) -> bool:
    """True where every direction of the coefficients is told by somebody: no eigenvalue under 1e-9 a person."""
    try:
        np.linalg.cholesky(information / total - 1e-9 * np.eye(len(information)))
    except np.linalg.LinAlgError:
        return False
    return True


def _newton(x: Array, own: Index, weight: Array, start: Array) -> tuple[Array, Array, int]:
    """(coefficients (k - 1, p), information, steps); CannotFit where a group can be told with certainty."""
    told = np.eye(len(start) + 1)[own][:, 1:]
    b = start
    chance = _chances(x, b)
    value = _log_likelihood(chance, own, weight)
    for step in range(1, MAX_STEPS + 1):
        score = ((told - chance[:, 1:]) * weight[:, None]).T @ x
        information = _information(x, chance, weight)
        if np.abs(x @ b.T).max() > SURE or not _is_sound(information, weight.sum()):
            raise CannotFit(
                "Some group is given to everybody of a kind, or to nobody of it: no chance of another group is left to "
                "weigh by. Join levels, or leave that group or that column out."
            )
        move = np.linalg.solve(information, score.reshape(-1)).reshape(b.shape)
        for _ in range(40):
            chance = _chances(x, b + move)
            new = _log_likelihood(chance, own, weight)
            if new >= value - 1e-12 * (1.0 + abs(value)):
                break
            move = move / 2.0
        b, value = b + move, new
        if np.abs(move).max() < STILL:
            return b, _information(x, chance, weight), step
    raise CannotFit(f"The model of who was given which group did not settle in {MAX_STEPS} steps.")


def multinomial(
    x: Array, given: Sequence[str], weight: Array | None = None, near: Propensity | None = None
) -> Propensity:
    """Fit the model: x (n, p) with a column of ones first, given (n,) the group of each person, weight (n,) or 1.

    near: a fit of the same columns to start from, which saves steps and changes nothing. Columns are standardised
    inside, so their units do not matter. CannotFit where a group, or an alternative to it, is
    certain for somebody (separation), or there is one group only.
    """
    groups = tuple(sorted(set(given)))
    if len(groups) < 2:
        raise CannotFit("There is one group only: nobody could have been given another.")
    weight = np.ones(len(x)) if weight is None else weight
    own = np.array([groups.index(g) for g in given], dtype=np.intp)
    centre, spread = x.mean(axis=0), x.std(axis=0)
    is_constant = spread <= 1e-12 * (1.0 + np.abs(centre))
    centre, spread = np.where(is_constant, 0.0, centre), np.where(is_constant, 1.0, spread)
    standard = (x - centre) / spread
    kept = _kept(standard)
    start = np.zeros((len(groups) - 1, x.shape[1]))
    if near is not None and near.groups == groups:
        told = np.nan_to_num(near.coefficients)
        start = told * spread
        start[:, 0] += told @ centre
    b, information, steps = _newton(standard[:, kept], own, weight, start[:, kept])
    chance = _chances(standard[:, kept], b)
    back = np.diag(1.0 / spread[kept])
    if 0 in kept and is_constant[0]:
        back[kept.index(0), :] -= centre[kept] / spread[kept] / (x[0, 0] or 1.0)
    blocks = np.kron(np.eye(len(groups) - 1), back)
    errors = np.sqrt(np.diag(blocks @ np.linalg.inv(information) @ blocks.T)).reshape(b.shape)
    coefficients = np.full((len(groups) - 1, x.shape[1]), np.nan)
    std_errors = coefficients.copy()
    coefficients[:, kept], std_errors[:, kept] = b @ back.T, errors
    return Propensity(groups, coefficients, std_errors, chance, _log_likelihood(chance, own, weight), steps)


def _own(made: Propensity, given: Sequence[str]) -> Index:
    return np.array([made.groups.index(g) for g in given], dtype=np.intp)


def overlap_weights(made: Propensity, given: Sequence[str]) -> Array:
    """Overlap weights (n,): (1 / own chance) / sum over the groups of 1 / chance; with two, the other group's chance.

    Scaled to a mean of 1 in each group.
    """
    return _scaled(1.0 / (made.probabilities[np.arange(len(given)), _own(made, given)]
                          * (1.0 / made.probabilities).sum(axis=1)), _own(made, given))  # fmt: skip


def inverse_weights(made: Propensity, given: Sequence[str]) -> Array:
    """Inverse-probability weights (n,), scaled to a mean of 1 in each group."""
    own = _own(made, given)
    return _scaled(1.0 / made.probabilities[np.arange(len(own)), own], own)


def _scaled(weight: Array, own: Index) -> Array:
    means = np.bincount(own, weight) / np.maximum(np.bincount(own), 1)
    return np.asarray(weight / means[own])


def effective_size(weight: Array) -> float:
    """Kish's effective number of people, (sum w)^2 / sum w^2 (Kish 1965, Survey Sampling, section 11.7)."""
    return float(weight.sum() ** 2 / (weight**2).sum())


@dataclass(frozen=True)
class Balance:
    """One column in two groups: means, absolute standardised difference, ratio of variances (first / second).

    Both are NaN where there is no spread.
    """

    first: float
    second: float
    smd: float
    variance_ratio: float


def weighted_variance(values: Array, weight: Array) -> float:
    """Weighted variance, unbiased for equal weights: sum w (x - m)^2 x W / (W^2 - sum w^2)."""
    total = weight.sum()
    mean = weight @ values / total
    rest = total**2 - (weight**2).sum()
    return float(weight @ (values - mean) ** 2 * total / rest) if rest > 0 else float("nan")


def balance(first: Array, second: Array, first_weight: Array, second_weight: Array) -> Balance:
    """Compare one column in two groups under weights.

    The difference of means is divided by the root mean square of the two UNWEIGHTED SDs, before and after weighting,
    so that only the means can move it (Austin 2009, Stat Med 28:3083-3107, section 3; Stuart 2010, Stat Sci 25:1-21).
    """
    means = float(first_weight @ first / first_weight.sum()), float(second_weight @ second / second_weight.sum())
    plain = [weighted_variance(v, np.ones(len(v))) for v in (first, second)]
    spread = float(np.sqrt(sum(plain) / 2.0))
    under = [weighted_variance(v, w) for v, w in ((first, first_weight), (second, second_weight))]
    smd = abs(means[0] - means[1]) / spread if spread > 0 else float("nan")
    ratio = under[0] / under[1] if under[1] > 0 else float("nan")
    return Balance(*means, smd, ratio)
