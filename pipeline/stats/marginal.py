"""Adjusted means and slopes by the levels of a factor, and their pairwise differences.

A reference grid crosses the levels of every categorical column of the mean, numeric columns at their mean or where
`at` puts them, and averages the rows of the grid with equal weights; weights="cohort" averages over the rows of the
fit instead (Searle, Speed and Milliken 1980, Am Stat 34:216-221, population marginal means).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from itertools import combinations, product
from typing import TYPE_CHECKING, Literal

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.stats.contrasts import combine, holm, tukey_kramer
from pipeline.stats.formula import variables
from pipeline.stats.model import CannotFit

if TYPE_CHECKING:
    from pipeline.stats.mixed import MixedFit

Array = NDArray[np.float64]
Adjust = Literal["holm", "tukey", "none"]
Weights = Literal["equal", "cohort"]


def _is_categorical(series: pl.Series, mean: str) -> bool:
    if not series.dtype.is_numeric():
        return True
    return re.search(rf"\bC\(\s*`?{re.escape(series.name)}`?\s*[,)]", mean) is not None


def _grid(fit: MixedFit, frame: pl.DataFrame, fixed: Mapping[str, object], weights: Weights) -> pl.DataFrame:
    """Rows whose design is averaged, with `fixed` columns set."""
    names = variables(fit.model.mean)
    unknown = [n for n in fixed if n not in names]
    if unknown:
        raise CannotFit(f"The mean does not use {unknown[0]!r}; it uses {', '.join(map(repr, names))}.")
    if weights == "cohort":
        return frame.select(names).with_columns(**{n: pl.lit(v, dtype=_dtype(frame, n, v)) for n, v in fixed.items()})
    axes: list[list[object]] = []
    for name in names:
        if name in fixed:
            axes.append([fixed[name]])
        elif _is_categorical(frame[name], fit.model.mean):
            axes.append(frame[name].unique().sort().to_list())
        else:
            axes.append([frame[name].mean()])
    rows = list(product(*axes))
    schema = {n: _dtype(frame, n, axis[0]) for n, axis in zip(names, axes, strict=True)}
    return pl.DataFrame(rows, schema=schema, orient="row")


def _dtype(frame: pl.DataFrame, name: str, value: object) -> pl.DataType:
    """The column's own type; a whole-number column set between whole numbers becomes a float."""
    dtype = frame[name].dtype
    return pl.Float64() if dtype.is_integer() and isinstance(value, float) else dtype


def _average(fit: MixedFit, frame: pl.DataFrame, fixed: Mapping[str, object], weights: Weights) -> Array:
    return np.asarray(fit.rows.x.of(_grid(fit, frame, fixed, weights)).mean(axis=0))


def _levels(frame: pl.DataFrame, factor: str) -> list[object]:
    if factor not in frame.columns:
        raise CannotFit(f"There is no column {factor!r} to compare by.")
    levels = frame[factor].unique().sort().to_list()
    if len(levels) > 100:
        raise CannotFit(f"{factor!r} has {len(levels)} values; compare by a column with few levels.")
    return list(levels)


def _table(fit: MixedFit, rows: Array, names: Mapping[str, Sequence[object]], level: float) -> pl.DataFrame:
    kept = list(fit.solved.basis.kept)
    lost = np.setdiff1d(np.arange(rows.shape[1]), kept)
    if np.any(np.abs(rows[:, lost]) > 1e-12):
        raise CannotFit("A mean or slope asked for rests on a term that is not identified on these rows.")
    return pl.DataFrame({**names, **combine(fit.solved, rows[:, kept], fit.df_method, level)})


def marginal_rows(
    fit: MixedFit,
    frame: pl.DataFrame,
    factor: str,
    *,
    at: Mapping[str, object] | None = None,
    along: str | None = None,
    weights: Weights = "equal",
) -> tuple[list[object], Array]:
    """(levels of the factor, contrast rows (levels, terms)) of adjusted means, or of slopes along a numeric column."""
    levels, at = _levels(frame, factor), dict(at or {})
    rows = []
    for value in levels:
        fixed = {**at, factor: value}
        if along is None:
            rows.append(_average(fit, frame, fixed, weights))
            continue
        centre = float(str(at.get(along, frame[along].mean())))
        step = 1e-3 * float(np.ptp(frame[along].to_numpy()))
        up, down = ({**fixed, along: centre + sign * step} for sign in (1.0, -1.0))
        rows.append((_average(fit, frame, up, weights) - _average(fit, frame, down, weights)) / (2.0 * step))
    return levels, np.array(rows)


def marginal_means(
    fit: MixedFit,
    frame: pl.DataFrame,
    factor: str,
    *,
    at: Mapping[str, object] | None = None,
    weights: Weights = "equal",
    level: float = 0.95,
) -> pl.DataFrame:
    """Adjusted mean of each level: factor, estimate, std_error, df, low, high, t, p; in units of the outcome."""
    levels, rows = marginal_rows(fit, frame, factor, at=at, weights=weights)
    return _table(fit, rows, {factor: levels}, level)


def marginal_slopes(
    fit: MixedFit,
    frame: pl.DataFrame,
    factor: str,
    along: str,
    *,
    at: Mapping[str, object] | None = None,
    weights: Weights = "equal",
    level: float = 0.95,
) -> pl.DataFrame:
    """Slope of the outcome along a numeric column at each level; outcome units per unit of `along`."""
    levels, rows = marginal_rows(fit, frame, factor, at=at, along=along, weights=weights)
    return _table(fit, rows, {factor: levels}, level)


def pairwise(
    fit: MixedFit,
    frame: pl.DataFrame,
    factor: str,
    *,
    along: str | None = None,
    at: Mapping[str, object] | None = None,
    weights: Weights = "equal",
    adjust: Adjust = "holm",
    level: float = 0.95,
) -> pl.DataFrame:
    """Every difference first - second between levels, of means or (along given) of slopes.

    Columns: first, second, estimate, std_error, df, low, high, t, p, p_adjusted. Intervals are of single contrasts.
    """
    levels, rows = marginal_rows(fit, frame, factor, at=at, along=along, weights=weights)
    pairs = list(combinations(range(len(levels)), 2))
    if not pairs:
        raise CannotFit(f"{factor!r} has one level in these rows; there is nothing to compare.")
    names = {"first": [levels[i] for i, _ in pairs], "second": [levels[j] for _, j in pairs]}
    table = _table(fit, np.array([rows[i] - rows[j] for i, j in pairs]), names, level)
    p = table["p"].to_numpy()
    if adjust == "holm":
        p = holm(p)
    elif adjust == "tukey":
        p = tukey_kramer(table["t"].to_numpy(), table["df"].to_numpy(), len(levels))
    return table.with_columns(p_adjusted=pl.Series(p, dtype=pl.Float64))
