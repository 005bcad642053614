"""Predicted curves of single clients, their gains, and the probability that a gain is above a threshold."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from pipeline.stats.model import CannotFit
from pipeline.stats.modes import Predicted, combine_modes, in_callers_columns

if TYPE_CHECKING:
    from pipeline.stats.mixed import MixedFit

Array = NDArray[np.float64]
Index = NDArray[np.intp]


def _groups(fit: MixedFit, frame: pl.DataFrame) -> Index:
    """Position in Modes of each row's group; groups not in the fit are predicted as new ones."""
    by = [v.by for v in fit.model.varies][::-1]
    missing = [c for c in by if c not in frame.columns]
    if missing:
        raise CannotFit(
            f"The rows to predict lack {missing[0]!r}; add the column, a key not in the fit stands for a new one."
        )
    known = {key: i for i, key in enumerate(fit.rows.inner_keys)}
    m, s = len(fit.rows.inner_starts), len(fit.rows.outer_starts)
    if len(by) == 1:
        return np.array([known.get(key, m + s) for key in frame[by[0]].to_list()], dtype=np.intp)
    outer = {key: m + i for i, key in enumerate(fit.rows.outer_keys)}
    return np.array([known.get(row, outer.get(row[0], m + s)) for row in frame.select(by).iter_rows()], dtype=np.intp)


def _design(fit: MixedFit, frame: pl.DataFrame) -> tuple[Array, Array]:
    x = fit.rows.x.of(frame)
    kept = list(fit.solved.basis.kept)
    z = np.concatenate([fit.rows.z.of(frame), fit.rows.outer.of(frame)], axis=1)
    return x[:, kept], z


def _predicted(fit: MixedFit, frame: pl.DataFrame, parameter_uncertainty: bool) -> Predicted:
    x, z = _design(fit, frame)
    return combine_modes(fit.solved, x, z, _groups(fit, frame), parameter_uncertainty)


def predict(
    fit: MixedFit, frame: pl.DataFrame, level: float = 0.95, *, parameter_uncertainty: bool = True
) -> pl.DataFrame:
    """Predicted level of each row's client, in the order of the frame.

    Columns: estimate; std_error of the client's own curve (conditional on the client's rows, with the uncertainty of
    the mean and, unless switched off, of the variances); low, high for the curve; new_low, new_high for one further
    measurement. A key that is not in the fit is predicted as a new client of that outer group, or of a new one.
    """
    made = _predicted(fit, frame, parameter_uncertainty)
    half = float(special.ndtri(0.5 + level / 2.0))
    error = np.sqrt(made.variance)
    wide = np.sqrt(made.variance + made.residual_variance)
    return pl.DataFrame(
        {
            "estimate": made.estimate,
            "std_error": error,
            "low": made.estimate - half * error,
            "high": made.estimate + half * error,
            "new_low": made.estimate - half * wide,
            "new_high": made.estimate + half * wide,
        }
    )


def gains(fit: MixedFit, later: pl.DataFrame, earlier: pl.DataFrame, above: float) -> pl.DataFrame:
    """Change of each client's own curve from `earlier` to `later`, row by row (same clients, same order).

    Columns: gain, std_error, p_above = P(gain > above) given all rows, with the uncertainty of every parameter.
    """
    if later.height != earlier.height:
        raise CannotFit(
            f"A gain needs pairs of rows: {later.height} later rows stand against {earlier.height} earlier ones."
        )
    group = _groups(fit, later)
    if not np.array_equal(group, _groups(fit, earlier)):
        raise CannotFit("A gain needs the same client in the same row of both frames; sort both by the client's key.")
    x_later, z_later = _design(fit, later)
    x_earlier, z_earlier = _design(fit, earlier)
    made = combine_modes(fit.solved, x_later - x_earlier, z_later - z_earlier, group, True)
    error = np.sqrt(made.variance)
    return pl.DataFrame(
        {"gain": made.estimate, "std_error": error, "p_above": special.ndtr((made.estimate - above) / error)}
    )


def random_effects(fit: MixedFit, by: str) -> pl.DataFrame:
    """Conditional mode and prediction standard error of each random term of each group of `by`, sorted by key.

    With an outer grouping the innermost groups carry both keys.
    """
    level = next((i for i, v in enumerate(fit.model.varies) if v.by == by), None)
    if level is None:
        raise CannotFit(f"The model has no grouping {by!r}.")
    mode, spread = in_callers_columns(fit.solved.basis, fit.solved, level)
    out: dict[str, object] = {}
    if level == 1:
        out[by] = list(fit.rows.outer_keys)
    elif len(fit.model.varies) == 1:
        out[by] = list(fit.rows.inner_keys)
    else:
        out[fit.model.varies[1].by] = [key[0] for key in fit.rows.inner_keys]
        out[by] = [key[1] for key in fit.rows.inner_keys]
    for j, name in enumerate((fit.rows.z, fit.rows.outer)[level].names):
        out[name] = mode[:, j]
        out[f"std_error({name})"] = np.sqrt(np.maximum(spread[:, j, j], 0.0))
    return pl.DataFrame(out)
