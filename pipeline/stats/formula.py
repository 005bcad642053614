"""From a polars frame and Wilkinson notation to sorted numbers. The only door to formulaic.

formulaic imports pandas: together 0.5 s of start-up, so it is imported inside the functions that need it, and plain
formulas go round it (plain_terms).
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.stats.model import CannotFit, MixedModel
from pipeline.stats.plain_terms import PlainRecipe, plain_recipe, plain_terms

Array = NDArray[np.float64]
Index = NDArray[np.intp]


@dataclass(frozen=True)
class Columns:
    """A design matrix (n, p), its term names, and what is needed to make the same columns of other rows."""

    values: Array
    names: tuple[str, ...]
    recipe: Any

    def of(self, frame: pl.DataFrame) -> Array:
        """The same columns for other rows: (rows, p). Levels, knots and centres are those of the fit."""
        if self.recipe is None:
            return np.ones((frame.height, len(self.names)))
        missing = sorted(set(map(str, self.recipe.required_variables)) - set(frame.columns))
        if missing:
            raise CannotFit(f"The rows to predict lack {', '.join(map(repr, missing))}; add the column.")
        if isinstance(self.recipe, PlainRecipe):
            return self.recipe.values(frame)
        made = self.recipe.get_model_matrix(frame, na_action="ignore")
        return np.asarray(made, dtype=float).reshape(frame.height, -1)


@dataclass(frozen=True)
class Rows:
    """Rows sorted by outer group, then innermost group, then as given.

    order (n,): position in the frame of each sorted row. inner_starts (m,), outer_starts (s,) as in sums.from_rows.
    inner_keys: (outer key, inner key) per innermost group when there is an outer grouping, else the key itself.
    """

    y: Array
    x: Columns
    z: Columns
    outer: Columns
    order: Index
    inner_starts: Index
    outer_starts: Index
    inner_keys: tuple[Any, ...]
    outer_keys: tuple[Any, ...]

    @property
    def inner_of(self) -> Index:
        """Innermost group of each sorted row (n,)."""
        sizes = np.diff(np.append(self.inner_starts, len(self.y)))
        return np.repeat(np.arange(len(self.inner_starts)), sizes)


@lru_cache(maxsize=256)
def _parsed(right_hand_side: str) -> Any:
    from formulaic import Formula
    from formulaic.errors import FormulaicError

    try:
        return Formula(right_hand_side)
    except FormulaicError as error:
        reason = str(error).splitlines()[0].rstrip(".")
        raise CannotFit(
            f"The formula {right_hand_side!r} cannot be read: {reason}. Write it like '1 + time * arm'."
        ) from None


def variables(right_hand_side: str) -> tuple[str, ...]:
    """Columns of the frame that a right-hand side reads, sorted."""
    if right_hand_side.strip() in ("0", "1"):
        return ()
    plain = plain_terms(right_hand_side)
    if plain is not None:
        return tuple(sorted({name for term in plain for name in term}))
    return tuple(sorted(map(str, _parsed(right_hand_side).required_variables)))


def columns(frame: pl.DataFrame, right_hand_side: str) -> Columns:
    """Design columns of a right-hand side for these rows."""
    if right_hand_side.strip() == "1":
        return Columns(np.ones((frame.height, 1)), ("Intercept",), None)
    if right_hand_side.strip() == "0":
        return Columns(np.empty((frame.height, 0)), (), None)
    plain = plain_recipe(frame, right_hand_side)
    if plain is not None:
        return Columns(plain.values(frame), plain.names(), plain)
    from formulaic.errors import FormulaicError

    try:
        # a term that is infinite is refused in words below, so NumPy need not warn as well
        with np.errstate(all="ignore"):
            made = _parsed(right_hand_side).get_model_matrix(frame, output="numpy", na_action="ignore")
    except (FormulaicError, ValueError, TypeError, pl.exceptions.PolarsError) as error:
        reason = str(error).splitlines()[0].rstrip(".")
        raise CannotFit(f"The formula {right_hand_side!r} cannot be worked out on these rows: {reason}.") from None
    spec = made.model_spec
    values = np.ascontiguousarray(np.asarray(made, dtype=float)).reshape(frame.height, -1)
    names = tuple(map(str, spec.column_names))
    _refuse_not_finite(values, names)
    return Columns(values, names, spec)


def _refuse_not_finite(values: Array, names: tuple[str, ...]) -> None:
    if np.isfinite(values.sum()):
        return
    bad = ~np.isfinite(values)
    for name, count in zip(names, bad.sum(axis=0), strict=True):
        if count:
            raise CannotFit(
                f"The term {name!r} is missing or infinite in {count} of {len(values)} rows; "
                "leave those rows out or change the term (the logarithm of 0 is infinite)."
            )


def _refuse_unusable(frame: pl.DataFrame, model: MixedModel) -> None:
    """Say in plain words which column is absent, missing in rows, or infinite."""
    groupings = [v.by for v in model.varies]
    read = {*variables(model.mean), *(c for v in model.varies for c in variables(v.terms))}
    for name in [model.outcome, *groupings, *sorted(read)]:
        if name not in frame.columns:
            near = difflib.get_close_matches(name, frame.columns, n=1)
            hint = f"; did you mean {near[0]!r}?" if near else f"; the frame has {', '.join(frame.columns)}."
            raise CannotFit(f"There is no column {name!r} in the rows to fit{hint}")
    if frame.height == 0:
        raise CannotFit("There are no rows to fit; check the selection that made the frame.")
    if not frame[model.outcome].dtype.is_numeric():
        raise CannotFit(
            f"The outcome {model.outcome!r} is not a number ({frame[model.outcome].dtype}); convert it first."
        )
    for name in sorted({model.outcome, *groupings, *read}):
        series = frame[name]
        missing = series.null_count()
        if series.dtype.is_float() and not series.is_finite().all():
            missing += int(series.is_nan().sum() or 0)
            infinite = int(series.is_infinite().sum() or 0)
            if infinite:
                raise CannotFit(f"{name!r} is infinite in {infinite} of {frame.height} rows; leave those rows out.")
        if missing:
            raise CannotFit(
                f"{name!r} is missing in {missing} of {frame.height} rows; leave those rows out before fitting, "
                "so that it is known who was left out."
            )


def _codes(series: pl.Series) -> Index:
    """0-based rank of each row's key among the sorted distinct keys."""
    if series.dtype.is_integer() or series.dtype.is_float():
        return np.unique(series.to_numpy(), return_inverse=True)[1].reshape(-1)
    keys = series.cast(pl.String) if series.dtype in (pl.Categorical, pl.Enum) else series
    return np.asarray(keys.rank("dense").to_numpy(), dtype=np.intp) - 1


def _sorted(frame: pl.DataFrame, model: MixedModel) -> tuple[Index, Index, Index, Index]:
    """(order, inner_starts, outer_starts, first row of the frame for each innermost group)."""
    inner = _codes(frame[model.varies[0].by])
    outer = _codes(frame[model.varies[1].by]) if len(model.varies) > 1 else np.zeros(len(inner), dtype=np.intp)
    pair = outer * (int(inner.max()) + 1) + inner
    order = np.arange(len(pair)) if np.all(pair[1:] >= pair[:-1]) else np.argsort(pair, kind="stable")
    pair, outer = pair[order], outer[order]
    inner_starts = np.flatnonzero(np.diff(pair, prepend=-1))
    outer_starts = np.flatnonzero(np.diff(outer[inner_starts], prepend=-1))
    return order, inner_starts, outer_starts, order[inner_starts]


def read_rows(frame: pl.DataFrame, model: MixedModel) -> Rows:
    """Design columns and sorted groups of a model on a frame; CannotFit says what stands in the way."""
    _refuse_unusable(frame, model)
    order, inner_starts, outer_starts, first = _sorted(frame, model)
    by = [v.by for v in model.varies]
    keys = frame.select(by[::-1])[first]
    labels = keys.rows() if len(by) > 1 else keys.to_series().to_list()
    if not np.array_equal(order, np.arange(len(order))):
        needed = {model.outcome, *variables(model.mean), *(c for v in model.varies for c in variables(v.terms))}
        frame = frame.select(sorted(needed))[order]
    return Rows(
        y=np.asarray(frame[model.outcome].to_numpy(), dtype=float),
        x=columns(frame, model.mean),
        z=columns(frame, model.varies[0].terms),
        outer=columns(frame, model.varies[1].terms if len(by) > 1 else "0"),
        order=order,
        inner_starts=inner_starts,
        outer_starts=outer_starts,
        inner_keys=tuple(labels),
        outer_keys=tuple(keys[by[1]].to_list()[i] for i in outer_starts) if len(by) > 1 else (),
    )
