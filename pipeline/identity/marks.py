"""The words that stand in place of a hidden number, and what each of them tells a reader who knows the rule."""

from __future__ import annotations

import math

PROTECTS = "hidden (protects another)"
CHANGED = "hidden (too few changed since the last edition)"
VAGUE = "hidden (to protect a few)"
"""In place of a count whose own mark would tell too much beside the sums: it may be small, or protect another."""
SAME = "hidden (as another of this size)"
"""In place of the number beside a mean, where the same number is hidden elsewhere."""
MERGED = "counted with others"
"""In place of a part of a split whose count stands in a row for several parts together."""


def small_mark(limit: int) -> str:
    """The words that stand in place of a hidden small cell."""
    return f"hidden (n<{limit + 1})"


def split_mark(limit: int) -> str:
    """The words in place of a part of a total that is itself a hidden small cell."""
    return f"hidden (total n<{limit + 1})"


def near_mark(printed: int, limit: int) -> str:
    """The words in place of a count that has moved by 1 to `limit` people since an edition printed it."""
    return f"within {limit} of {printed} (as last published)"


def is_near(mark: str) -> bool:
    """Tell whether the mark names the figure last published."""
    return mark.startswith("within ")


def near_range(mark: str) -> tuple[float, float]:
    """The range that a near mark leaves: "within 10 of 138 ..." leaves 128 to 148."""
    _, width, _, printed, *_ = mark.split(" ")
    return max(0.0, float(printed) - float(width)), float(printed) + float(width)


def hides_count_only(mark: str) -> bool:
    """Tell whether a mean keeps its value under this mark: only the number of people behind it goes."""
    return mark in (PROTECTS, CHANGED, VAGUE, SAME) or is_near(mark)


def range_told(mark: str, count: int, limit: int) -> tuple[float, float]:
    """What the mark of a plain count tells before any sum: the reader knows the rule, so none is better than it."""
    if mark == small_mark(limit):
        return (1.0, float(limit)) if 1 <= count <= limit else (0.0, math.inf)
    if is_near(mark):
        return near_range(mark)
    if mark in (PROTECTS, CHANGED) and count > limit:
        return float(limit + 1), math.inf
    return 0.0, math.inf
