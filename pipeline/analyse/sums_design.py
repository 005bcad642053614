"""The design of a model that is fitted from sums: which columns an engine has to sum, and how the model's come of them.

Sites are never summed as columns: the sums come by site, and what a column of one site holds there is another column.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import cycle, islice

import numpy as np
import polars as pl

from pipeline.analyse.common import Array
from pipeline.analyse.contrasts import AT_MEAN
from pipeline.analyse.models import RATED, Built
from pipeline.analyse.sums_rows import DAYS_IN_12_WEEKS, number, product, time_columns
from pipeline.analyse.who import LABELS, Who
from pipeline.stats.formula import Columns, columns
from pipeline.stats.plain_terms import Factor, PlainRecipe
from pipeline.stats.sums_sql import Layout

ONE: tuple[Factor, ...] = ()
TIME: tuple[Factor, ...] = (("time12", None),)
NUMBERS = (*AT_MEAN, "week", "time12", "age_10", "efforts_more", "baseline_cmh2o")


def stand_in(built: Built, who: Who) -> pl.DataFrame:
    """Rows that hold every label once or more and 0 in every column of numbers: the columns of a design are named and
    made by them as by the rows themselves."""
    labels = {c: [*who.levels(c)] for c in LABELS}
    many = max(map(len, labels.values()))
    numbers = dict.fromkeys((*NUMBERS, *built.form.names), [0.0] * many)
    return pl.DataFrame({**{c: [*islice(cycle(found), many)] for c, found in labels.items()}, **numbers})


@dataclass(frozen=True)
class SummedDesign:
    """design: the model's columns, factors: of which each is the product. summed: the products that the engine sums,
    time12 last if asked."""

    design: Columns
    frame: pl.DataFrame
    factors: tuple[tuple[Factor, ...], ...]
    summed: tuple[tuple[Factor, ...], ...]

    def at_site(self, site: str) -> Array:
        """Map (summed, columns of the design): what each column of the design is in the rows of a site."""
        out = np.zeros((len(self.summed), len(self.design.names)))
        for column, factors in enumerate(self.factors):
            own = [level for name, level in factors if name == "site"]
            if own in ([], [site]):
                out[self.summed.index(_elsewhere(factors)), column] = 1.0
        return out

    def outer(self, terms: str) -> Array:
        """Map (summed, outer random columns) of "1" or "1 + time12"."""
        wanted = [ONE, TIME] if "time12" in terms else [ONE]
        return np.array([[float(s == w) for w in wanted] for s in self.summed])

    def layout(self, source: str, built: Built, rates: Mapping[str, float], dose: str, centre: float) -> Layout:
        """What the engine is asked: the summed columns and the outcome less `centre`, by site and client."""
        of = {name: dose if name == "dose_d" else name for name in RATED.values()}
        named = time_columns(built.form) | {
            name: f"r.{column} - {number(rates[name])} * r.time12" for name, column in of.items()}
        told = [product(factors, named) for factors in self.summed]
        return Layout(source, (*told, f"r.value_cmh2o - {number(centre)}"), 0, outer="r.site", weeks="r.days",
                      units_in_12_weeks=DAYS_IN_12_WEEKS, client="r.client_key")


def _elsewhere(factors: tuple[Factor, ...]) -> tuple[Factor, ...]:
    """The factors of a column without its site."""
    return tuple(f for f in factors if f[0] != "site")


def summed_design(built: Built, who: Who, *, with_time: bool) -> SummedDesign:
    """The design of a model for these people; with_time: time12 is summed too, for sites with slopes of their own."""
    frame = stand_in(built, who)
    design = columns(frame, built.model.mean)
    if design.recipe is not None and not isinstance(design.recipe, PlainRecipe):
        raise TypeError(f"not a plain formula: {built.model.mean}")
    factors = design.recipe.factors() if design.recipe is not None else (ONE,)
    wanted = dict.fromkeys([*map(_elsewhere, factors), *([TIME] if with_time else [])])
    return SummedDesign(design, frame, factors, tuple(wanted))
