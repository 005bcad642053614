"""Rows and sums of a programme's model, in plain columns as an engine would make them: for tests of fits from sums."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.analyse.design import natural_spline
from pipeline.stats import MixedModel, Varies
from pipeline.stats.sums import Sums, as_patterns, from_rows

KNOTS = np.array([0.0, 4.0, 12.0, 26.0]) / 12.0
TIME = ("time_1", "time_2", "time_3")
TERMS = (*TIME, "interval", "strength", *(f"{t}_{p}" for p in ("interval", "strength") for t in TIME), "dose", "effort",
         "dose_interval", "dose_strength", "age", "female", *(f"condition_{k}" for k in range(1, 6)))  # fmt: skip
SITE, SITE_LEVEL = Varies("site", "1 + time12"), Varies("site")
CLIENT, CLIENT_LEVEL = Varies("client_key", "1 + time12"), Varies("client_key")


def model(*varies: Varies, terms: tuple[str, ...] = TERMS) -> MixedModel:
    """The outcome less its centre on these terms."""
    return MixedModel("y", " + ".join(("1", *terms)), varies)


def programme(
    clients: int = 400,
    seed: int = 1,
    sites: int = 12,
    client_sd: tuple[float, float] = (12.0, 6.0),
    site_sd: tuple[float, float] = (4.0, 2.0),
) -> pl.DataFrame:
    """2 to 6 tests a client in whole 4-week steps; level and slope vary by client and by site."""
    draw = np.random.default_rng(seed)
    tests = draw.integers(2, 7, clients)
    who = np.repeat(np.arange(clients), tests)
    week = np.concatenate([np.sort(draw.choice(9, k, replace=False)) * 4.0 for k in tests])
    t, site = week / 12.0, draw.integers(0, sites, clients)
    protocol, condition = draw.integers(0, 3, clients)[who], draw.integers(0, 6, clients)[who]
    columns = dict(zip(TIME, natural_spline(t, KNOTS).T, strict=True))
    for k, name in enumerate(("interval", "strength"), start=1):
        columns[name] = (protocol == k).astype(float)
        columns |= {f"{time}_{name}": columns[time] * columns[name] for time in TIME}
    columns["dose"] = (draw.random(len(t)) * t) - 0.66 * t
    columns["effort"] = (draw.random(len(t)) * t) - 0.5 * t
    columns |= {f"dose_{name}": columns["dose"] * columns[name] for name in ("interval", "strength")}
    columns["age"], columns["female"] = draw.uniform(18, 90, clients)[who], draw.integers(0, 2, clients)[who] * 1.0
    columns |= {f"condition_{k}": (condition == k).astype(float) for k in range(1, 6)}
    y = 14.0 + 6.0 * t + 2.0 * columns["time_1_interval"] + 5.0 * columns["dose"] - 0.2 * columns["age"]
    for group, sd in ((who, client_sd), (site[who], site_sd)):
        level, slope = draw.normal(0, 1, (2, group.max() + 1))
        y += sd[0] * level[group] + sd[1] * slope[group] * t
    y += draw.normal(0, 6, len(t))
    return pl.DataFrame({"client_key": who, "site": site[who], "time12": t, "y": y, **columns}).sort(
        "site", "client_key", "time12")  # fmt: skip


def sums_of(
    rows: pl.DataFrame, terms: tuple[str, ...] = TERMS, outer: int | None = None, patterns: bool = True
) -> Sums:
    """The sums of these columns as they are; outer: random columns of the site, None for no outer grouping."""
    t = rows["time12"].to_numpy()
    z = np.column_stack([np.ones(len(t)), t])
    x = np.column_stack([np.ones(len(t)), *(rows[name].to_numpy().astype(float) for name in terms)])
    starts = np.flatnonzero(np.diff(rows["client_key"].to_numpy(), prepend=-1))
    site = rows["site"].to_numpy()[starts]
    outer_starts = np.array([0]) if outer is None else np.flatnonzero(np.diff(site, prepend=-1))
    made = from_rows(z, z[:, : outer or 0], x, rows["y"].to_numpy(), starts, outer_starts)
    return as_patterns(made) if patterns else made
