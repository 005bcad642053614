"""Design columns of plain formulas without formulaic: names, `+`, `:`, `*`, a constant, brackets round sums.

All models of a review are such; going round formulaic saves 0.5 s of start-up (it imports pandas) and the larger part
of the time of a small fit. Anything else (functions, splines, `-`, `0`) is left to formulaic, and a test
holds the two to the same names, order and numbers.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.stats.model import CannotFit

Array = NDArray[np.float64]

_WORD = re.compile(r"\s*([A-Za-z_][A-Za-z0-9_]*|[+*:()])")

Terms = tuple[tuple[str, ...], ...]
Factor = tuple[str, str | None]


class _NotPlain(Exception):
    """The formula is more than names, `+`, `:`, `*` and brackets round sums of names."""


class _Reader:
    """Reads `sum := product + ...`, `product := crossing * ...`, `crossing := atom:atom..`, `atom := name or (sum)`."""

    def __init__(self, text: str) -> None:
        self.words, place = [], 0
        while text[place:].strip():
            found = _WORD.match(text, place)
            if not found:
                raise _NotPlain
            self.words.append(found[1])
            place = found.end()
        self.words.reverse()  # the next one stands last

    def next_is(self, sign: str) -> bool:
        """Take the next word when it is this sign."""
        if self.words and self.words[-1] == sign:
            self.words.pop()
            return True
        return False

    def sum(self) -> Terms:
        terms = self.product()
        while self.next_is("+"):
            terms += self.product()
        return terms

    def product(self) -> Terms:
        left = self.crossing()
        while self.next_is("*"):
            right = self.crossing()
            left = left + right + tuple(_crossed(a, b) for a in left for b in right)
        return left

    def crossing(self) -> Terms:
        left = self.atom()
        while self.next_is(":"):
            right = self.atom()
            left = tuple(_crossed(a, b) for a in left for b in right)
        return left

    def atom(self) -> Terms:
        if not self.next_is("("):
            return ((self.name(),),)
        inside = self.sum()
        if not self.next_is(")"):
            raise _NotPlain
        return inside

    def name(self) -> str:
        if not self.words or not self.words[-1].isidentifier():
            raise _NotPlain
        return self.words.pop()


def _crossed(left: tuple[str, ...], right: tuple[str, ...]) -> tuple[str, ...]:
    if set(left) & set(right):
        raise _NotPlain
    return left + right


@lru_cache(maxsize=256)
def plain_terms(right_hand_side: str) -> Terms | None:
    """Terms as tuples of names, the constant as (); None when the formula is more than plain.

    Sorted as formulaic does: by the number of names, then as they first come.
    """
    first, plus, rest = right_hand_side.partition("+")
    text = right_hand_side if first.strip() != "1" else rest
    terms: Terms = ((),)
    if plus or first.strip() != "1":
        try:
            reader = _Reader(text)
            terms += reader.sum()
        except _NotPlain:
            return None
        if reader.words:
            return None
    seen: dict[frozenset[str], tuple[str, ...]] = {}
    for term in terms:
        seen.setdefault(frozenset(term), term)
    return tuple(sorted(seen.values(), key=len))


def _against_a_reference(terms: Terms, levels: Mapping[str, tuple[str, ...] | None]) -> bool:
    """True where formulaic codes every column of levels against a reference: what is left of a term without some of
    its columns of levels stands in the formula by itself.
    """
    known = {frozenset(term) for term in terms}
    for term in terms:
        leveled = [name for name in term if levels[name] is not None]
        for size in range(1, len(leveled) + 1):
            if any(frozenset(term) - set(dropped) not in known for dropped in combinations(leveled, size)):
                return False
    return True


def _codes(series: pl.Series, known: tuple[str, ...]) -> NDArray[np.int64]:
    """Position of each row's level among the known ones; CannotFit names one that is not."""
    text = series.cast(pl.String)
    codes = text.cast(pl.Enum(known), strict=False)
    missing = codes.null_count()
    if missing > text.null_count():
        strange = text.filter(codes.is_null() & text.is_not_null())[0]
        raise CannotFit(f"{series.name!r} holds {strange!r}, which the fit has not seen; it knows {', '.join(known)}.")
    number = codes.to_physical()
    return np.asarray((number.cast(pl.Int64).fill_null(-1) if missing else number).to_numpy(), dtype=np.int64)


@dataclass(frozen=True)
class PlainRecipe:
    """terms of the formula and, by name, the levels of a categorical column (the first is the reference) or None."""

    terms: tuple[tuple[str, ...], ...]
    levels: dict[str, tuple[str, ...] | None]

    @property
    def required_variables(self) -> tuple[str, ...]:
        """Columns that the terms read."""
        return tuple(self.levels)

    def factors(self) -> tuple[tuple[Factor, ...], ...]:
        """Each column as the factors whose product it is: (name, level), level None for a column of numbers."""
        out: list[tuple[Factor, ...]] = []
        for term in self.terms:
            parts: list[tuple[Factor, ...]] = [()]
            for name in term:
                own: list[Factor] = [(name, level) for level in (self.levels[name] or (None, None))[1:]]
                parts = [(*left, right) for right in own for left in parts]
            out.extend(parts)
        return tuple(out)

    def names(self) -> tuple[str, ...]:
        """Column names as formulaic gives them."""
        parts = ([n if level is None else f"{n}[T.{level}]" for n, level in column] for column in self.factors())
        return tuple(":".join(part) or "Intercept" for part in parts)

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
    """A recipe when the formula is plain, its columns are numbers or text, and levels have a reference; else None."""
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
    return PlainRecipe(terms, levels) if _against_a_reference(terms, levels) else None
