"""The door to statsmodels: refit a mixed model with MixedLM, by other code and other optimisers, and compare.

MixedLM is known to stop short of the optimum when time is in weeks or days; give it time in 12-week units. Its standard
errors come from another matrix than ours (the joint Hessian) and its intervals from z, so neither is compared.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.stats import MixedFit, MixedModel
from pipeline.stats.basis import ALIASED_BELOW
from pipeline.stats.formula import Rows, read_rows
from pipeline.stats.model import Method

Array = NDArray[np.float64]
Verdict = Literal["agree", "statsmodels worse", "ours worse", "cannot express", "no answer"]

OPTIMISERS = ("bfgs", "lbfgs")
SHORT_OF_OPTIMUM = 1e-3  # log-likelihood; what gradient and curvature say is still to gain
SAME_LOG_LIKELIHOOD = 1e-4  # MixedLM's own stopping rule; its variances carry 3 to 4 digits
SAME_ESTIMATE_SE = 0.01  # difference of a coefficient in its standard errors


@dataclass(frozen=True)
class StatsmodelsFit:
    """What MixedLM found. state: plain words, with the doubts. mean_terms: as in MixedFit, but df, low, high are null.

    shortfall: log-likelihood still to gain by gradient and curvature. spread: difference between the two optimisers.
    """

    model: MixedModel
    method: Method
    state: str
    log_likelihood: float
    residual_sd: float
    mean_terms: pl.DataFrame
    shortfall: float
    spread: float
    covariances: dict[str, tuple[tuple[str, ...], Array]]

    def covariance(self, by: str) -> tuple[tuple[str, ...], Array]:
        """Names and covariance matrix of the random terms of grouping `by`, in squared units of the outcome."""
        return self.covariances[by]


@dataclass(frozen=True)
class CrossCheck:
    """How an independent refit compares. log_likelihood_gap: ours less theirs; largest_shift: in standard errors."""

    verdict: Verdict
    sentence: str
    log_likelihood_gap: float | None = None
    largest_shift: float | None = None


def why_not(model: MixedModel) -> str | None:
    """What MixedLM cannot express in this model, in words; None when it can."""
    if len(model.varies) == 2 and model.varies[0].correlated and model.varies[0].terms.strip() != "1":
        return f"correlated terms of {model.varies[0].by} inside {model.varies[1].by}"
    return None


def fit_with_statsmodels(frame: pl.DataFrame, model: MixedModel, method: Method = "reml") -> StatsmodelsFit:
    """Fit by MixedLM with two optimisers and keep the better.

    ValueError, in plain words, when MixedLM cannot express the model or both optimisers break down. Terms of the mean
    that follow from earlier ones are left out, as the engine does.
    """
    missing = why_not(model)
    if missing:
        raise ValueError(f"MixedLM cannot express {missing}.")
    rows = _without_aliases(read_rows(frame, model))
    fits = [fit for optimiser in OPTIMISERS if (fit := _one_fit(rows, model, method, optimiser)) is not None]
    if not fits:
        raise ValueError(f"MixedLM found no answer with any of its optimisers ({', '.join(OPTIMISERS)}).")
    levels = [float(fit.llf) for fit in fits]
    best, spread = fits[int(np.argmax(levels))], max(levels) - min(levels) if len(fits) == len(OPTIMISERS) else np.inf
    shortfall = _shortfall(best)
    return StatsmodelsFit(
        model=model,
        method=method,
        state=_state(spread, shortfall),
        log_likelihood=float(best.llf),
        residual_sd=float(np.sqrt(best.scale)),
        mean_terms=_mean_terms(rows, best),
        shortfall=shortfall,
        spread=spread,
        covariances=_covariances(rows, model, best),
    )


def cross_check(frame: pl.DataFrame, model: MixedModel, fit: MixedFit) -> CrossCheck:
    """Refit with MixedLM by the same method and say whether log-likelihood and coefficients agree."""
    missing = why_not(model)
    if missing:
        return CrossCheck("cannot express", f"No independent check: statsmodels MixedLM cannot express {missing}.")
    try:
        theirs = fit_with_statsmodels(frame, model, fit.method)
    except ValueError as error:
        return CrossCheck("no answer", f"No independent check: {error}")
    ours = fit.mean_terms.filter(pl.col("estimate").is_not_null())
    both = ours.join(theirs.mean_terms, on="term", suffix="_theirs")
    shift = ((both["estimate"] - both["estimate_theirs"]) / both["std_error"]).abs().max()
    return _verdict(fit.log_likelihood - theirs.log_likelihood, float(str(shift)), theirs.state)


def _verdict(gap: float, shift: float, state: str) -> CrossCheck:
    if gap > SAME_LOG_LIKELIHOOD:
        text = f"statsmodels MixedLM ended {gap:.2g} log-likelihood below this fit and missed the optimum ({state})."
        return CrossCheck("statsmodels worse", text, gap, shift)
    if gap < -SAME_LOG_LIKELIHOOD or shift > SAME_ESTIMATE_SE:
        text = f"statsmodels MixedLM disagrees: {-gap:.2g} log-likelihood above this fit, coefficients {shift:.2g} SE"
        return CrossCheck("ours worse", text + " apart. Do not use this fit before the reason is known.", gap, shift)
    text = f"statsmodels MixedLM agrees: log-likelihood within {abs(gap):.1g}, coefficients within {shift:.1g} SE."
    return CrossCheck("agree", text, gap, shift)


def _state(spread: float, shortfall: float) -> str:
    doubts = []
    if spread > SHORT_OF_OPTIMUM:
        doubts.append(f"its two optimisers ended {spread:.2g} log-likelihood apart")
    if not shortfall < SHORT_OF_OPTIMUM:
        doubts.append(f"its gradient says that {shortfall:.2g} log-likelihood is still to gain")
    if doubts:
        return "doubtful: " + " and ".join(doubts)
    return "converged: two optimisers agree and the gradient is small"


def _without_aliases(rows: Rows) -> Rows:
    """The mean without columns that follow from the earlier ones, which MixedLM cannot invert."""
    values = rows.x.values
    length = np.linalg.norm(values, axis=0)
    left = np.abs(np.diag(np.linalg.qr(values / np.where(length > 0, length, 1.0), mode="r")))
    kept = [j for j in range(values.shape[1]) if length[j] > 0 and left[j] > ALIASED_BELOW]
    names = tuple(rows.x.names[j] for j in kept)
    return replace(rows, x=replace(rows.x, values=values[:, kept], names=names))


def _one_fit(rows: Rows, model: MixedModel, method: Method, optimiser: str) -> Any:
    from statsmodels.regression.mixed_linear_model import MixedLM, MixedLMParams

    top = model.varies[-1]
    inside = _variance_parts(rows) if len(model.varies) == 2 else None
    random = rows.outer if inside else rows.z
    groups = _outer_of(rows) if inside else rows.inner_of
    mixed = MixedLM(rows.y, rows.x.values, groups=groups, exog_re=random.values, exog_vc=inside)
    free = None
    if not top.correlated and random.values.shape[1] > 1:
        free = MixedLMParams(mixed.k_fe, mixed.k_re, mixed.k_vc)
        free.fe_params, free.cov_re, free.vcomp = np.ones(mixed.k_fe), np.eye(mixed.k_re), np.ones(mixed.k_vc)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # doubts are worked out below from gradient and spread, not from warnings
        try:
            fit = mixed.fit(reml=method == "reml", method=[optimiser, "cg"], free=free, gtol=1e-8)
        except (np.linalg.LinAlgError, ValueError):
            return None
    return fit if np.isfinite(fit.llf) else None


def _outer_of(rows: Rows) -> Array:
    """Outer group of each sorted row."""
    ends = np.append(rows.inner_starts, len(rows.y))[np.append(rows.outer_starts, len(rows.inner_starts))]
    return np.repeat(np.arange(len(rows.outer_starts)), np.diff(ends))


def _variance_parts(rows: Rows) -> Any:
    """Each term of the inner grouping as a variance component within the outer groups."""
    from statsmodels.regression.mixed_linear_model import VCSpec

    outer, parts, names = _outer_of(rows), [], []
    for j in range(rows.z.values.shape[1]):
        mats, columns = [], []
        for group in range(len(rows.outer_starts)):
            mine = outer == group
            inner = np.unique(rows.inner_of[mine], return_inverse=True)[1].reshape(-1)
            mats.append(np.eye(int(inner.max()) + 1)[inner] * rows.z.values[mine, j : j + 1])
            columns.append([f"{j}_{k}" for k in range(int(inner.max()) + 1)])
        parts.append(mats)
        names.append(columns)
    return VCSpec(list(rows.z.names), names, parts)


def _shortfall(fit: Any) -> float:
    """Half g'H^-1g over the covariance parameters: the log-likelihood a Newton step would still gain, without units."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        at = fit.params_object.copy()
        at.cov_re, at.vcomp = fit.cov_re_unscaled.copy(), fit.params_object.vcomp.copy()
        packed = at.get_packed(use_sqrt=fit.model.use_sqrt, has_fe=False)
        gradient = fit.model.score(packed)
        steps = 1e-4 * np.maximum(np.abs(packed), 1e-2)
        ahead = [fit.model.score(packed + h * e) for h, e in zip(steps, np.eye(len(packed)), strict=True)]
        behind = [fit.model.score(packed - h * e) for h, e in zip(steps, np.eye(len(packed)), strict=True)]
    if not np.all(np.isfinite(gradient)):
        return float("nan")
    curvature = (np.array(behind) - np.array(ahead)) / (2.0 * steps[:, None])
    return float(0.5 * gradient @ np.linalg.pinv((curvature + curvature.T) / 2.0, rcond=1e-8) @ gradient)


def _mean_terms(rows: Rows, fit: Any) -> pl.DataFrame:
    nothing = pl.Series([None] * len(rows.x.names), dtype=pl.Float64)
    estimates = {"term": list(rows.x.names), "estimate": np.asarray(fit.fe_params), "std_error": np.asarray(fit.bse_fe)}
    return pl.DataFrame({**estimates, "df": nothing, "low": nothing, "high": nothing})


def _covariances(rows: Rows, model: MixedModel, fit: Any) -> dict[str, tuple[tuple[str, ...], Array]]:
    top = rows.outer if len(model.varies) == 2 else rows.z
    found = {model.varies[-1].by: (top.names, np.asarray(fit.cov_re, dtype=float))}
    if len(model.varies) == 2:
        found[model.varies[0].by] = (rows.z.names, np.diag(np.asarray(fit.vcomp, dtype=float)))
    return found
