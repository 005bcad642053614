"""How charts look: colours that follow the page's light, dark and print, one type face, few lines."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from pipeline.report.letters import widest

C1, C2, C3 = "var(--c1,#0072B2)", "var(--c2,#C04E00)", "var(--c3,#00795A)"
MUTED, BAND, GRID = "var(--muted,#5f6773)", "var(--band,#dce9f7)", "var(--grid,#e4e8ed)"
INK, PAPER = "currentColor", "var(--paper,#ffffff)"
PALE = "var(--pale,#8fbfe0)"
#: These widths are known to the engine that measures text; another name would cut labels off (tried).
FACE = "Liberation Sans, Arial, Helvetica, sans-serif"
WIDE, NARROW = 900, 340
SIZE = 13

CONFIG: dict[str, Any] = {
    "background": "transparent",
    "padding": {"left": 8, "right": 16, "top": 4, "bottom": 4},
    "font": FACE,
    "view": {"stroke": None},
    "title": {"fontSize": SIZE, "fontWeight": "normal", "color": MUTED, "anchor": "start", "frame": "bounds",
              "offset": 10},
    "axis": {"labelColor": INK, "titleColor": MUTED, "labelFontSize": SIZE, "titleFontSize": SIZE,
             "titleFontWeight": "normal", "gridColor": GRID, "domain": False, "tickSize": 0, "labelPadding": 6,
             "titlePadding": 8, "labelAngle": 0, "labelLimit": 400},
    "axisX": {"grid": False, "domain": True, "domainColor": MUTED},
    "legend": {"disable": True},
    "text": {"font": FACE, "fontSize": SIZE, "color": INK},
    "line": {"strokeWidth": 2.2},
}


def ticks(low: float, high: float, most: int) -> list[float]:
    """Round tick values that cover low to high, at most `most` of them."""
    span = (high - low) or 1.0
    step = 10.0 ** math.floor(math.log10(span / most))
    step = next(step * m for m in (1, 2, 5, 10, 20) if span / (step * m) <= most - 1 + 1e-9)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [round(i * step, 6) + 0.0 for i in range(first, last + 1)]


Ends = tuple[list[float], list[float]]


def domain(values: Iterable[float | None], *, most: int = 6, also: Iterable[float] = ()) -> Ends:
    """Return (ends of the axis, ticks) round enough for all values and those in `also`."""
    known = [v for v in values if v is not None and math.isfinite(v)] + list(also)
    marks = ticks(min(known), max(known), most) if known else [0.0, 1.0]
    return [marks[0], marks[-1]], marks


@dataclass(frozen=True)
class Words:
    """What a drawing is called and what it shows, for those who do not see it."""

    name: str
    title: str
    desc: str


@dataclass(frozen=True)
class Spot:
    """A point with its interval; `tip` is read on hovering. A value of None draws nothing there (a gap)."""

    x: float
    value: float | None
    low: float | None = None
    high: float | None = None
    tip: str = ""
    series: str = ""


@dataclass(frozen=True)
class Rung:
    """A row of an interval plot: mean, thick interval, thin outer interval, earlier value, and text at its right."""

    label: str
    value: float | None
    low: float | None = None
    high: float | None = None
    outer_low: float | None = None
    outer_high: float | None = None
    before: float | None = None
    text: str = ""
    is_main: bool = True


@dataclass(frozen=True)
class Rule:
    """A line across the plot at a value, with a word."""

    at: float
    label: str = ""
    is_solid: bool = False


def share_at_right(names: Iterable[str], is_narrow: bool) -> float:
    """Share of the plot to keep free at the right for the names at the line ends."""
    room = widest(names, SIZE)
    return 0.0 if room == 0 else (room * 1.05 + 14) / ((NARROW if is_narrow else WIDE) - 60 - room)
