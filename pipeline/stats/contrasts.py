"""Linear combinations of the mean's terms: t and F tests with small-sample df, and corrections for several at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from pipeline.stats.boundary import Solved
from pipeline.stats.kr import df_each, kr_f, satterthwaite_f
from pipeline.stats.model import CannotFit, DfMethod

if TYPE_CHECKING:
    from pipeline.stats.reading import Reading

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Contrast:
    """One linear combination: estimate and std_error in the caller's units, df, interval, two-sided p of H0: 0."""

    estimate: float
    std_error: float
    df: float
    low: float
    high: float
    t: float
    p: float


@dataclass(frozen=True)
class FTest:
    """Joint test that several combinations are 0: (scaled) F on df1 and df2 degrees of freedom; each: a row apiece."""

    f: float
    df1: int
    df2: float
    p: float
    each: pl.DataFrame


def t_quantile(probability: float, df: Array) -> Array:
    """Quantile of Student's t; NaN where df is not above 0."""
    df = np.where(df > 0, df, np.nan)
    return np.asarray(special.stdtrit(df, probability))


def combine(solved: Solved, rows: Array, df_method: DfMethod, level: float = 0.95) -> dict[str, Array]:
    """Estimates of combinations, rows (r, kept columns) in the caller's units."""
    standard = solved.basis.contrast(rows)
    made = solved.linear
    covariance = made.adjusted if df_method == "kenward-roger" else made.phi
    estimate = standard @ -made.w[:-1] + rows @ solved.basis.shift
    with np.errstate(invalid="ignore"):  # an adjusted variance below 0 is no variance: NaN, which no caller prints
        std_error = np.sqrt(np.einsum("ri,ij,rj->r", standard, covariance, standard))
    with np.errstate(divide="ignore", invalid="ignore"):
        df = df_each(made, standard, df_method)
        t = estimate / std_error
    half = t_quantile(0.5 + level / 2.0, df) * std_error
    p = 2.0 * special.stdtr(np.where(df > 0, df, np.nan), -np.abs(t))
    return {
        "estimate": estimate, "std_error": std_error, "df": df,
        "low": estimate - half, "high": estimate + half, "t": t, "p": p,
    }  # fmt: skip


def mean_table(solved: Solved, names: tuple[str, ...], df_method: DfMethod) -> pl.DataFrame:
    """term, estimate, std_error, df, low, high of every term of the mean; nulls where not identified."""
    kept = list(solved.basis.kept)
    made = combine(solved, np.eye(len(kept)), df_method)
    out: dict[str, object] = {"term": list(names)}
    for column in ("estimate", "std_error", "df", "low", "high"):
        values: list[float | None] = [None] * len(names)
        for j, value in zip(kept, made[column], strict=True):
            values[j] = float(value)
        out[column] = pl.Series(column, values, dtype=pl.Float64)
    return pl.DataFrame(out)


def as_rows(fit: Reading, weights: Mapping[str, float] | Array) -> Array:
    """Contrast weights as rows (r, kept columns); CannotFit for unknown or unidentified terms."""
    if isinstance(weights, Mapping):
        unknown = [t for t in weights if t not in fit.terms]
        if unknown:
            raise CannotFit(f"The mean has no term {unknown[0]!r}; it has {', '.join(map(repr, fit.terms))}.")
        weights = np.array([float(weights.get(t, 0.0)) for t in fit.terms])
    rows = np.atleast_2d(np.asarray(weights, dtype=float))
    if rows.shape[1] != len(fit.terms):
        raise CannotFit(f"A contrast needs {len(fit.terms)} weights, one per term of the mean; got {rows.shape[1]}.")
    kept = list(fit.solved.basis.kept)
    lost = [t for j, t in enumerate(fit.terms) if j not in kept and np.any(rows[:, j] != 0.0)]
    if lost:
        raise CannotFit(f"The contrast uses {lost[0]!r}, which is not identified on these rows.")
    return rows[:, kept]


def contrast(fit: Reading, weights: Mapping[str, float] | Array, level: float = 0.95) -> Contrast | FTest:
    """A vector or mapping term -> weight gives a Contrast; a matrix (r, terms) gives a joint FTest."""
    single = isinstance(weights, Mapping) or np.ndim(weights) == 1
    rows = as_rows(fit, weights)
    made = combine(fit.solved, rows, fit.df_method, level)
    if single:
        return Contrast(**{name: float(value[0]) for name, value in made.items()})
    # rows that repeat each other do not count twice
    independent = _independent(rows)
    standard = fit.solved.basis.contrast(rows[independent])
    test = kr_f if fit.df_method == "kenward-roger" else satterthwaite_f
    f, df2 = test(fit.solved.linear, standard, made["estimate"][independent])
    df1 = len(independent)
    return FTest(f, df1, df2, float(special.fdtrc(df1, df2, f)), pl.DataFrame(made))


def _independent(rows: Array) -> list[int]:
    kept: list[int] = []
    for j in range(len(rows)):
        if np.linalg.matrix_rank(rows[[*kept, j]]) > len(kept):
            kept.append(j)
    if not kept:
        raise CannotFit("Every weight of the contrast is 0; there is nothing to test.")
    return kept


def holm(p: Array) -> Array:
    """Holm's step-down adjusted p-values (Holm 1979, Scand J Stat 6:65-70), in the order given."""
    p = np.asarray(p, dtype=float)
    order = np.argsort(p, kind="stable")
    steps = np.maximum.accumulate(p[order] * (len(p) - np.arange(len(p))))
    out = np.empty_like(p)
    out[order] = np.minimum(steps, 1.0)
    return out


def tukey_kramer(t: Array, df: Array, means: int) -> Array:
    """p-values of pairwise t against the studentized range of `means` means (Kramer 1956, Biometrics 12:307-310)."""
    from scipy.stats import studentized_range

    return np.asarray(studentized_range.sf(np.sqrt(2.0) * np.abs(np.asarray(t)), means, np.asarray(df)))
