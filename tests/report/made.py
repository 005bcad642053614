"""Shapes of invented results for the quarter page: counts, shares, medians."""

from __future__ import annotations

from pipeline.results import Result

CLASSES = ("below", "in", "above", "not recorded")
SITES = ("east", "north", "south")
QUARTERS = [f"{y}Q{q}" for y in (2023, 2024, 2025, 2026) for q in (1, 2, 3, 4)][:14]


def row(section: str, statistic: str, group: str = "all", at: float | None = None, **fields: object) -> Result:
    return Result("quarter", section, statistic, group, at, **fields)  # type: ignore[arg-type]


def share(section: str, statistic: str, group: str, hits: int, n: int, **fields: object) -> Result:
    return row(section, statistic, group, hits=hits, n=n, value=100 * hits / n, unit="%", **fields)


def middle(section: str, statistic: str, group: str, value: float, n: int, at: float | None = None) -> Result:
    return row(
        section,
        statistic,
        group,
        at,
        value=value,
        low=value - 14.2,
        high=min(value + 11.6, 130.0),
        n=n,
        unit="%",
        method="median, quartiles",
    )
