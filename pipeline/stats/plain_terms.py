"""Design columns of plain formulas without formulaic: names, `+`, `:`, `*`, a constant.

Most models of a review are such; going round formulaic saves 0.5 s of start-up (it imports pandas) and the larger part
of the time of a small fit. Anything else (functions, splines, `-`, `0`, brackets) is left to formulaic, and a test
holds the two to the same names, order and numbers.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.stats.model import CannotFit

Array = NDArray[np.float64]

_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")


@lru_cache(maxsize=256)
def plain_terms(right_hand_side: str) -> tuple[tuple[str, ...], ...] | None:
    """Terms as tuples of names, the constant as (); None when the formula is more than plain.

    Sorted as formulaic does: by the number of names, then as they first come. Every part of an interaction must stand
    in the formula by itself, since only then are its levels coded against a reference.
    """
    terms: list[tuple[str, ...]] = [()]
    for number, part in enumerate(right_hand_side.split("+")):
        text = part.strip()
        if text == "1":
            if number:
                return None
            continue
        crossed = [[name.strip() for name in factor.split(":")] for factor in text.split("*")]
        names = [name for factor in crossed for name in factor]
        if not all(_NAME.fullmatch(name) for name in names) or len(set(names)) < len(names):
            return None
        for size in range(1, len(crossed) + 1):
            for chosen in combinations(crossed, size):
                terms.append(tuple(name for factor in chosen for name in factor))
    seen: dict[frozenset[str], tuple[str, ...]] = {}
    for term in terms:
        seen.setdefault(frozenset(term), term)
    unique = sorted(seen.values(), key=len)
    closed = all(frozenset(c) in seen for t in unique for size in range(1, len(t)) for c in combinations(t, size))
    return tuple(unique) if closed else None


def _codes(series: pl.Series, known: tuple[str, ...]) -> NDArray[np.int64]:
    """Position of each row's level among the known ones; CannotFit names one that is not."""
    text = series.cast(pl.String)
    codes = text.cast(pl.Enum(known), strict=False)
    if codes.null_count() > text.null_count():
        strange = text.filter(codes.is_null() & text.is_not_null())[0]
        raise CannotFit(f"{series.name!r} holds {strange!r}, which the fit has not seen; it knows {', '.join(known)}.")
    return np.asarray(codes.to_physical().fill_null(-1).to_numpy(), dtype=np.int64)


@dataclass(frozen=True)
class PlainRecipe:
    """terms of the formula and, by name, the levels of a categorical column (the first is the reference) or None."""

    terms: tuple[tuple[str, ...], ...]
    levels: dict[str, tuple[str, ...] | None]

    @property
    def required_variables(self) -> tuple[str, ...]:
        """Columns that the terms read."""
        return tuple(self.levels)

    def names(self) -> tuple[str, ...]:
        """Column names as formulaic gives them."""
        out = []
        for term in self.terms:
            parts = [""]
            for name in term:
                known = self.levels[name]
                own = [name] if known is None else [f"{name}[T.{level}]" for level in known[1:]]
                parts = [f"{left}:{right}" if left else right for right in own for left in parts]
            out.extend(["Intercept"] if not term else parts)
        return tuple(out)

    def values(self, frame: pl.DataFrame) -> Array:
        """Design columns (rows, p); CannotFit names a level that the recipe does not know."""
        ready: dict[str, list[Array]] = {}
        for name, known in self.levels.items():
            series = frame[name]
            if known is None:
                ready[name] = [np.asarray(series.to_numpy(), dtype=float)]
            else:
                codes = _codes(series, known)
                ready[name] = [(codes == level).astype(float) for level in range(1, len(known))]
        columns: list[Array] = []
        for term in self.terms:
            products = [np.ones(frame.height)] if not term else ready[term[0]]
            for name in term[1:]:
                products = [left * right for right in ready[name] for left in products]
            columns.extend(products)
        return np.ascontiguousarray(np.column_stack(columns)) if columns else np.empty((frame.height, 0))


def plain_recipe(frame: pl.DataFrame, right_hand_side: str) -> PlainRecipe | None:
    """A recipe when the formula is plain and its columns are numbers or text; else None."""
    terms = plain_terms(right_hand_side)
    if terms is None:
        return None
    levels: dict[str, tuple[str, ...] | None] = {}
    for name in dict.fromkeys(name for term in terms for name in term):
        series = frame[name]
        if series.dtype.is_float() or series.dtype.is_integer():
            levels[name] = None
        elif series.dtype == pl.String:
            levels[name] = tuple(series.unique().sort().to_list())
        else:
            return None
    return PlainRecipe(terms, levels)
