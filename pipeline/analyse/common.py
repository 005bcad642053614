"""What the rooms of analyse share: a section's row maker, periods, and plain summaries with their n."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.stats import t as student_t

from pipeline.identity.quarters import before
from pipeline.results import Partition, ReportName, Result, ResultSet
from pipeline.stats.proportions import wilson

Frames = Mapping[str, pl.DataFrame]
Array = NDArray[np.float64]
PRESSURES = ("mip", "mep")
MEDIAN = "median, with the quartiles"
MEAN = "mean, with the 95 % interval of Student's t"
WILSON = "share, with the 95 % interval of Wilson"
FEW = 10
"""People that no published count may set apart: the small-cell limit of CMS (1 to 10), whatever the settings say."""
FEWEST_FOR_TENTHS = 30
"""People behind a printed 10th or 90th percentile: fewer, and it is the story of one person."""


def group(**parts: str) -> str:
    """Name a subgroup, "pressure=mip;protocol=x", in the order given; without parts it is "all"."""
    return ";".join(f"{name}={value}" for name, value in parts.items()) or "all"


def periods(quarter: str) -> dict[str, list[str]]:
    """The quarters of "this", "last" (the one before) and "last4" (four up to this one), as far as there are."""
    back = {"this": (0,), "last": (1,), "last4": (3, 2, 1, 0)}
    return {name: [q for k in steps if (q := before(quarter, k)) is not None] for name, steps in back.items()}


def floats(values: pl.Series) -> Array:
    """The numbers of a column that are there, as an array."""
    return values.drop_nulls().cast(pl.Float64).to_numpy()


def labels(frame: pl.DataFrame, column: str) -> list[str]:
    """The distinct labels of a column in alphabetical order; null is "not recorded"."""
    return sorted({"not recorded" if v is None else str(v) for v in frame[column].to_list()})


def labelled(column: str) -> pl.Expr:
    """The column as text, null spelled "not recorded"."""
    return pl.col(column).cast(pl.String).fill_null("not recorded")


@dataclass
class Section:
    """The rows of one section of one report while they are made; `done` gives them out."""

    report: ReportName
    name: str
    rows: list[Result] = field(default_factory=list)
    sums: list[Partition] = field(default_factory=list)

    def add(self, statistic: str, group: str = "all", **fields: Any) -> Result:
        """Add one row and return it; fields are those of `Result`."""
        row = Result(self.report, self.name, statistic, group, **fields)
        self.rows.append(row)
        return row

    def state(self, text: str, group: str = "all") -> Result:
        """Add the sentence that stands where nothing can be shown."""
        return self.add("state", group, text=text)

    def sum_of(self, total: Result, parts: Iterable[Result]) -> None:
        """Declare that the people of `total` are those of `parts`, added up."""
        self.sums.append(Partition(total.key, tuple(p.key for p in parts)))

    def share(self, statistic: str, group: str, hits: int, n: int, **fields: Any) -> Result:
        """Add a share in % with its numerator and Wilson interval; with nobody to count, a row that says so."""
        if n == 0:
            return self.add(statistic, group, n=0, hits=0, unit="%", text="nobody to count", **fields)
        found = wilson(hits, n)
        low, high = 100 * found.low, 100 * found.high
        return self.add(statistic, group, n=n, hits=hits, value=100 * found.value, low=low, high=high,
                        unit="%", method=WILSON, **fields)  # fmt: skip

    def median(
        self, statistic: str, group: str, values: pl.Series, unit: str, *, of: int | None = None, **fields: Any
    ) -> Result:
        """Add a median with its quartiles; n counts the values that are there. of: see `counting`."""
        seen = floats(values)
        if not seen.size:
            return self.add(statistic, group, n=0, unit=unit, text="not recorded", **fields)
        low, middle, high = (float(q) for q in np.quantile(seen, (0.25, 0.5, 0.75)))
        return self.add(statistic, group, **counting(seen.size, of), value=middle, low=low, high=high,
                        unit=unit, **({"method": MEDIAN} | fields))  # fmt: skip

    def mean(
        self, statistic: str, group: str, values: pl.Series, unit: str, *, of: int | None = None, **fields: Any
    ) -> Result:
        """Add a mean with its 95 % interval; below two values there is no interval. of: see `counting`."""
        seen = floats(values)
        if not seen.size:
            return self.add(statistic, group, n=0, unit=unit, text="nobody to count", **fields)
        low, high = mean_interval(seen)
        return self.add(statistic, group, **counting(seen.size, of), value=float(seen.mean()), low=low, high=high,
                        unit=unit, method=MEAN, **fields)  # fmt: skip

    def split(
        self, statistic: str, total: Result, people: pl.DataFrame, column: str, *, within: Mapping[str, str],
        order: Sequence[str] = (), name: str = "",
    ) -> list[Result]:  # fmt: skip
        """Add one count for each label of a column, and declare that they add up to `total`.

        people: one row a person. Labels come in `order`, then alphabetically; `within` names the group they lie in.
        """
        seen = people.select(labelled(column).alias("label"))["label"].to_list()
        known = [*order, *sorted(set(seen) - set(order))]
        parts = [
            self.add(statistic, group(**within, **{name or column: label}), n=seen.count(label)) for label in known
        ]
        self.sum_of(total, parts)
        return parts

    def done(self) -> ResultSet:
        """Give out the rows; an empty section says that nothing was found."""
        if not self.rows:
            self.state("nothing of this kind is in the data")
        return ResultSet(tuple(self.rows), tuple(self.sums))


def counting(known: int, of: int | None) -> dict[str, Any]:
    """Fields that say how many people are behind a summary, without giving a handful away by subtraction.

    of: people of the group, counted elsewhere too. Where 1 to FEW of them have no value, n is all of them and says so:
    the exact number beside theirs would tell how many lack it.
    """
    if of is not None and known > FEW and 0 < of - known <= FEW:
        return {"n": of, "n_of": "people, a few without a value", "n_people": of}
    return {"n": known}


def mean_interval(values: Array, level: float = 0.95) -> tuple[float | None, float | None]:
    """The interval of a mean by Student's t; two Nones below two values."""
    if values.size < 2:
        return None, None
    half = float(student_t.ppf(0.5 + level / 2, values.size - 1)) * float(values.std(ddof=1)) / values.size**0.5
    return float(values.mean()) - half, float(values.mean()) + half


def join(parts: Iterable[ResultSet]) -> ResultSet:
    """Put result sets one after the other."""
    whole = ResultSet(())
    for part in parts:
        whole = whole + part
    return whole


def data_until(frames: Frames) -> date:
    """The last day the data speak for: the last day of the courses (an open course ends with the data)."""
    last = frames["courses"]["last_on"].max()
    return last if isinstance(last, date) else date(1970, 1, 1)
