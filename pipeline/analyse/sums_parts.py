"""Some rows of an engine's table as far as they may be known at home: who is behind them, means and rates, sums."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from pipeline.analyse.common import Array
from pipeline.analyse.fits import DOSE
from pipeline.analyse.models import COLUMN_OF, RATED, Built, Rise
from pipeline.analyse.sums_design import SummedDesign
from pipeline.analyse.sums_rows import Summing, mixes
from pipeline.analyse.who import LABELS, Who
from pipeline.settings import Settings
from pipeline.stats.plain_terms import Factor
from pipeline.stats.sums import Sums
from pipeline.stats.sums_outer import mapped
from pipeline.stats.sums_sql import per_client, sums_from_clients, totals


def added(answer: pl.DataFrame, of: str = "people") -> pl.DataFrame:
    """An answer with the counts of equal rows of several slices added up."""
    keys = [c for c in answer.columns if c != of]
    return answer.group_by(keys).agg(pl.col(of).sum()).sort(keys)


@dataclass(frozen=True)
class Part:
    """Some of the prepared rows of an engine's table: those where `needs` are known. dose: the column that is D.

    source: table and condition as SQL; who: the people; tests and mean outcome; rates: mean rise of D, E and the
    between part per 12 weeks (models.Rise); single: terms that would say nothing (models.varying_terms).
    """

    source: str
    dose: str
    who: Who
    mean: float
    rates: dict[str, float]
    single: frozenset[str]


def _moments(source: str, dose: str) -> str:
    told = {name: dose if name == DOSE else name for name in RATED.values()}
    sums = [f"sum(r.{c} * r.time12) as {n}_1, sum(case when r.{c} is not null then r.time12 * r.time12 end) as {n}_2, "
            f"sum(r.{c} * r.{c}) as {n}_3" for n, c in told.items()]
    ends = [f"{end}(r.{c}) as {c}_{end}" for c in ("efforts_more", "age_10") for end in ("min", "max")]
    return f"select count(*) as n, sum(r.value_cmh2o) as y, {', '.join([*sums, *ends])} from {source}"


def part_of(engine: Summing, table: str, needs: Iterable[str], dose: str = DOSE, also: str = "") -> Part:
    """Ask an engine about the rows of a table where `needs` are known and the condition `also` holds."""
    told = [f"r.{dose if name == DOSE else name} is not null" for name in sorted(set(needs))] + ([also] if also else [])
    source = f"{table} as r" + (" where " + " and ".join(told) if told else "")
    who = Who(added(engine.ask(mixes(source))))
    seen = engine.ask(_moments(source, dose))
    total = seen.select(pl.exclude("^.*_(min|max)$").sum(), pl.col("^.*_min$").min(), pl.col("^.*_max$").max())
    found = total.row(0, named=True)
    rises = {c: Rise(*(found[f"{c}_{k}"] or 0.0 for k in (1, 2, 3))) for c in RATED.values()}
    rates = {c: seen_rise.rate for c, seen_rise in rises.items()}
    one = {t for t, c in COLUMN_OF.items() if c in LABELS and len(who.levels(c)) < 2}
    one |= {t for t, c in COLUMN_OF.items() if c not in LABELS and found[f"{c}_min"] == found[f"{c}_max"]}
    one |= {t for t, c in RATED.items() if rises[c].is_alike}
    return Part(source, dose, who, (found["y"] or 0.0) / max(found["n"], 1), rates, frozenset(one))


def _picked(of: Sequence[object], wanted: Sequence[object]) -> Array:
    """Map that picks the wanted columns out of those there, and the outcome."""
    return with_outcome(np.array([[float(o == w) for w in wanted] for o in of]))


def with_outcome(columns: Array) -> Array:
    """A map of summed columns that passes the outcome on as the last one."""
    out = np.zeros((columns.shape[0] + 1, columns.shape[1] + 1))
    out[:-1, :-1], out[-1, -1] = columns, 1.0
    return out


@dataclass
class Ground:
    """One pressure at an engine, its rows prepared in `table`. What was asked is not asked twice: parts, and of the
    last sums those columns that the next model has too."""

    engine: Summing
    table: str
    pressure: str
    settings: Settings
    parts: dict[tuple[str, ...], Part] = field(default_factory=dict)
    last: tuple[str, tuple[tuple[Factor, ...], ...], Sums] | None = None

    def part(self, needs: Iterable[str], dose: str = DOSE, also: str = "") -> Part:
        """See `part_of`."""
        told = (dose, also, *sorted(set(needs)))
        if told not in self.parts:
            self.parts[told] = part_of(self.engine, self.table, needs, dose, also)
        return self.parts[told]

    def sums(self, design: SummedDesign, part: Part, built: Built) -> Sums:
        """The sums of the columns of a design and of the outcome less its mean, by site."""
        rows = f"{part.dose} {built.form} {part.source}"
        if self.last is None or self.last[0] != rows or not {*design.summed} <= {*self.last[1]}:
            self.last = None  # two of them are not held at a time
            layout = design.layout(part.source, built, part.rates, part.dose, part.mean)
            found = sums_from_clients(self.engine.ask(per_client(layout)), self.engine.ask(totals(layout)), layout)
            self.last = rows, design.summed, found
        _, summed, found = self.last
        return found if summed == design.summed else mapped(found, [_picked(summed, design.summed)] * len(found.starts))
