"""Is any site unusual beyond chance: funnels of the 12-week tests done and of the mean gain, from ten sites on.

Sites with ten people or fewer are in no funnel. Nothing is ranked: a point has a place by its number of people alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt

import numpy as np
import polars as pl

from pipeline.analyse.common import FEW, Frames, Section, group
from pipeline.analyse.effects import twelve_week_gains
from pipeline.settings import Settings
from pipeline.stats.funnel import (
    FEWEST_SITES_FOR_OVERDISPERSION,
    LEVELS,
    between_site_sd,
    funnel_limits,
    mean_limits,
)

CURVE = 12
SHARE, GAIN = "tests_done_pct", "mip_gain_cmh2o"
EXACT = "exact binomial limits around all sites together, interpolated"
WIDER = "limits widened by the spread between sites beyond chance (additive, Spiegelhalter 2005)"


@dataclass(frozen=True)
class Sites:
    """One measure by site: name to (people or tests, value); the value of all together; SD of one person for a mean."""

    measure: str
    unit: str
    points: Mapping[str, tuple[int, float]]
    target: float
    person_sd: float | None = None

    def error(self, n: int) -> float:
        """Standard error of a site's value with n people, in the unit."""
        if self.person_sd is None:
            share = min(max(self.target / 100.0, 1e-6), 1 - 1e-6)
            return 100.0 * sqrt(share * (1 - share) / n)
        return self.person_sd / sqrt(n)

    def tau(self) -> float:
        """Spread of the sites beyond chance, in the unit; 0 where there is none."""
        counts, values = zip(*self.points.values(), strict=True)
        return between_site_sd(values, [self.error(n) for n in counts], self.target) or 0.0

    def limits(self, n: int, level: float, tau: float) -> tuple[float, float]:
        """Limits of a site's value with n people."""
        if self.person_sd is None and tau == 0.0 and 0.0 < self.target < 100.0:
            low, high = funnel_limits(self.target / 100.0, n, level=level)
            return 100.0 * low, 100.0 * high
        low, high = mean_limits(self.target, self.error(n), level=level, tau=tau)
        return (max(0.0, low), min(100.0, high)) if self.person_sd is None else (low, high)


def tests_done(frames: Frames, fewest: int) -> Sites | None:
    """Share of the 12-week tests of MIP due so far that were done, by site; counted are the tests due."""
    rows = frames["completeness"].filter(pl.col("item") == "12_week_mip")
    by_site = rows.group_by("site").agg(pl.col("expected", "filled").sum()).filter(pl.col("expected") >= fewest)
    if by_site.is_empty():
        return None
    points = {s: (int(n), 100.0 * int(k) / int(n)) for s, n, k in by_site.sort("site").iter_rows()}
    return Sites(SHARE, "%", points, 100.0 * int(by_site["filled"].sum()) / int(by_site["expected"].sum()))


def mean_gain(frames: Frames, expected: Mapping[str, float], fewest: int) -> Sites | None:
    """Mean 12-week gain in MIP by site, less what the model expects of its people, at the mean of all.

    expected: site to that expectation in cmH2O; without one for every site the gains stand as measured.
    """
    people = twelve_week_gains(frames, "mip")
    by_site = people.group_by("site").agg(pl.len().alias("n"), pl.col("gain12_cmh2o").mean().alias("gain"))
    rows = [(s, int(n), float(g)) for s, n, g in by_site.sort("site").iter_rows() if n >= fewest]
    if not rows:
        return None
    counts = np.array([n for _, n, _ in rows], dtype=float)
    target = float(counts @ [g for _, _, g in rows] / counts.sum())
    centre = float(counts @ [expected[s] for s, _, _ in rows] / counts.sum()) if all(
        s in expected for s, _, _ in rows) else None  # fmt: skip
    points = {s: (n, g - (expected[s] - centre if centre is not None else 0.0)) for s, n, g in rows}
    within = people.filter(pl.col("site").is_in(list(points)))
    own_mean = pl.col("gain12_cmh2o").mean().over("site")
    residual = within.select(pl.col("gain12_cmh2o") - own_mean).to_series().to_numpy()
    sd = float(np.sqrt(float(residual @ residual) / max(residual.size - len(points), 1)))
    return Sites(GAIN, "cmH2O", points, target, sd) if sd > 0 else None


def chance_of_one(sites: int, level: float) -> float:
    """Chance (%) that at least one of so many stable sites lies outside limits of a level."""
    return 100.0 * (1.0 - level**sites)


def funnels(section: Section, frames: Frames, expected: Mapping[str, float], settings: Settings) -> None:
    """Add for each measure the points, limits and centre of a funnel, or from how many sites on there is one.

    Rows that name a site are for the internal edition alone (class client): a single point tells its site's number.
    """
    fewest = max(FEW, settings.small_cell_max) + 1
    for made in (tests_done(frames, fewest), mean_gain(frames, expected, fewest)):
        if made is None:
            continue
        where, count = group(measure=made.measure), len(made.points)
        section.add("funnel_sites", where, n=count, n_of="sites", n_people=0,
                    text="funnel" if count >= FEWEST_SITES_FOR_OVERDISPERSION else "table")
        if count >= FEWEST_SITES_FOR_OVERDISPERSION:
            _one(section, made, where)


def _one(section: Section, made: Sites, where: str) -> None:
    tau, inside = made.tau(), {"klass": "client", "unit": made.unit}
    sizes = [n for n, _ in made.points.values()]
    counts = {"n_of": "people" if made.person_sd is not None else "tests due"}
    exact = EXACT if made.person_sd is None else "normal limits of a mean around all sites together"
    how = WIDER if tau > 0 else exact
    inside |= counts
    section.add("funnel_centre", where, value=made.target, n=sum(sizes), method="all sites together", **inside)
    section.add("funnel_spread", where, value=tau, n=sum(sizes), method="SD of sites beyond chance; 0: no more than "
                "chance", **inside)  # fmt: skip
    for level in LEVELS:
        section.add("funnel_by_chance_pct", group(measure=made.measure, level=f"{level:g}"), unit="%",
                    value=chance_of_one(len(made.points), level), n=len(made.points), n_of="sites", n_people=0,
                    method="1 - level to the power of the sites: one stable site or more outside", klass="client")
    for n in np.unique(np.linspace(max(1, 0.7 * min(sizes)), 1.2 * max(sizes), CURVE).astype(int)):
        for level in LEVELS:
            low, high = made.limits(int(n), level, tau)
            section.add("funnel_limits", group(measure=made.measure, level=f"{level:g}"), at=float(n), low=low,
                        high=high, method=how, **inside)
    for site, (n, value) in made.points.items():
        bounds = {level: made.limits(n, level, tau) for level in LEVELS}
        outside = [f"outside {100 * level:g} %" for level, (low, high) in bounds.items() if not low <= value <= high]
        section.add("funnel_point", group(measure=made.measure, site=site), n=n, value=value,
                    text=outside[-1] if outside else "inside", method=how, **inside)
