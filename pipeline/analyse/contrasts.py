"""What is read from a model: gains and differences as weights on its terms, the same before and after the fit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import polars as pl

from pipeline.analyse.common import Array
from pipeline.analyse.design import WEEKS, with_time
from pipeline.analyse.models import RATED, Built, rise
from pipeline.analyse.who import Who, who_of
from pipeline.stats.formula import Columns, columns

FEWEST_PER_PROTOCOL = 8
"""People below which a protocol is in no curve and no contrast (its tests stay in the fit): a choice of ours."""
GRID_WEEKS = tuple(float(w) for w in range(27))
"""Weeks at which a model is read: whole weeks to half a year."""

AT_MEAN = ("dose_d", "effort_e", "between_dose", "within_dose", "lead_dose", "caution_c", "support_c", "age_c")
"""Columns that are 0 at the mean, where curves are read."""


@dataclass(frozen=True)
class Reader:
    """Weights on the mean's terms for one model and its rows.

    A gain is the mean curve at a week less the curve at week 0, at the share of the prescribed dose (and of effort in
    the band) that these people did on average, over their sites as they were: covariates cancel.
    protocols (those compared), sites: label to share of the people. dose_rate, effort_rate: mean D and E per 12 weeks.
    `frame` holds the rows with the time columns, and D and E as departures from that mean at that time: then the mean
    curve is that of the mean dose, and a curve of another form cannot pass its misfit on to the dose.
    """

    built: Built
    design: Columns
    frame: pl.DataFrame
    protocols: dict[str, float]
    sites: dict[str, float]
    dose_rate: float
    effort_rate: float

    @cached_property
    def _grid(self) -> dict[tuple[float, str], Array]:
        """Weights of the level at each week of GRID_WEEKS for each protocol, over the sites, at the mean dose."""
        shape = len(GRID_WEEKS), len(self.protocols), len(self.sites)
        week, protocol, site = (at.ravel() for at in np.indices(shape))
        weeks = np.asarray(GRID_WEEKS)[week]
        frame = self.frame[np.zeros(len(week), dtype=int)].with_columns(
            pl.Series("week", weeks),
            pl.Series("time12", weeks / WEEKS),
            pl.Series("protocol", [*self.protocols])[protocol],
            pl.Series("site", [*self.sites])[site],
            *(pl.lit(0.0).alias(c) for c in AT_MEAN),
        )
        made = self.design.of(with_time(frame, self.built.form)).reshape(*shape, -1)
        over_sites = np.sum([share * made[:, :, k] for k, share in enumerate(self.sites.values())], axis=0)
        return {(w, p): over_sites[i, j] for i, w in enumerate(GRID_WEEKS) for j, p in enumerate(self.protocols)}

    def _point(self, week: float, protocol: str | None, dose: float | None, effort: float | None) -> Array:
        shares = self.protocols if protocol is None else {protocol: 1.0}
        at = np.sum([share * self._grid[week, p] for p, share in shares.items()], axis=0)
        time12 = week / WEEKS
        more = 0.0 if dose is None else dose - self.dose_rate * time12
        in_band = 0.0 if effort is None else effort - self.effort_rate * time12
        dose_term = self.term("dose_d") + self.term("between_dose")
        return np.asarray(at + more * dose_term + in_band * self.term("effort_e"))

    def gain(
        self, week: float, protocol: str | None = None, *, dose: float | None = None, effort: float | None = None
    ) -> Array:
        """Weights of the gain from the baseline to a week; with `dose` and `effort` at those values instead."""
        return self._point(week, protocol, dose, effort) - self._point(0.0, protocol, 0.0, 0.0)

    def difference(self, first: str, second: str, week: float) -> Array:
        """Weights of the difference of two protocols' gains at a week, first less second, at the same dose done."""
        return self.gain(week, first) - self.gain(week, second)

    def level_difference(self, first: str, second: str, week: float) -> Array:
        """Weights of the difference of two protocols' levels at a week, covariates (and a baseline) being equal."""
        return self._point(week, first, None, None) - self._point(week, second, None, None)

    def term(self, name: str) -> Array:
        """Weights that pick one term of the mean by its name."""
        return np.array([float(n == name) for n in self.design.names])


def enough(people: Mapping[str, int]) -> list[str]:
    """Protocols with enough people to read a curve of their own, in order; all of them where none has."""
    return sorted(p for p, n in people.items() if n >= FEWEST_PER_PROTOCOL) or sorted(people)


def _shares(people: Mapping[str, int]) -> dict[str, float]:
    total = sum(people.values())
    return {label: n / total for label, n in people.items()}


def centred(rows: pl.DataFrame, built: Built) -> pl.DataFrame:
    """Prepared rows with the time columns, and cumulative terms as departures from their mean at that time."""
    frame = with_time(rows, built.form).with_columns(
        (pl.col(c) - rise(rows, c).rate * pl.col("time12")).alias(c) for c in RATED.values() if c in rows.columns
    )
    absent = [c for c in ("lead_dose", "baseline_cmh2o") if c not in frame.columns]
    return frame.with_columns(pl.lit(0.0).alias(c) for c in absent)


def reader(rows: pl.DataFrame, frame: pl.DataFrame, built: Built, design: Columns | None = None) -> Reader:
    """The reader of a model: its rows as prepared, the same centred, and the design columns if a fit has made them."""
    rates = {name: rise(rows, name).rate for name in ("dose_d", "effort_e")}
    return reader_of(who_of(rows), rates, frame, built, design or columns(frame, built.model.mean))


def reader_of(who: Who, rates: Mapping[str, float], frame: pl.DataFrame, built: Built, design: Columns) -> Reader:
    """The same from counts; rates: mean rise (see `Rise`) of dose_d and effort_e. `frame` needs one row only."""
    protocols = who.levels("protocol")
    read = {p: protocols[p] for p in enough(protocols)}
    return Reader(built, design, frame, _shares(read), _shares(who.levels("site")), rates["dose_d"], rates["effort_e"])
