"""The chart over quarters, drawn by hand: a value a quarter, level lines, rings where a rule fired, note letters."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from pipeline.report import chart_style as look
from pipeline.report.chart_style import SIZE, Rule, Words
from pipeline.report.letters import widest, width
from pipeline.report.svg import decimal as d
from pipeline.report.svg import named
from pipeline.report.views import Html
from pipeline.report.words import number

HEAD, TALL, FOOT, GAP = 44.0, 200.0, 30.0, 10.0
"""Room above the plot (unit, letters), the plot, room below it (quarters), and between words and lines; px."""
LETTER_ROOM, LABEL_ROOM = 14.0, 15.0


@dataclass(frozen=True)
class Point:
    """One quarter: label, value (None: a gap), the words of its tip, and how it is drawn."""

    label: str
    value: float | None
    tip: str
    is_hollow: bool = False
    is_ringed: bool = False
    marks: str = ""


@dataclass(frozen=True)
class _Plot:
    """Where the drawing's parts stand."""

    whole: float
    left: float
    right: float
    low: float
    high: float
    count: int

    def x(self, place: int) -> float:
        """Middle of a quarter."""
        return self.left + (self.right - self.left) * (place + 0.5) / self.count

    def y(self, value: float) -> float:
        """Height of a value."""
        return HEAD + TALL * (1.0 - (value - self.low) / ((self.high - self.low) or 1.0))


def quarters(
    words: Words, points: Sequence[Point], *, unit: str, rules: Sequence[Rule] = (), is_joined: bool = True
) -> Html:
    """Draw a value a quarter, wide and narrow. rules: level lines named at the right; is_joined: a line through them.

    Hollow points are joined to nothing: they take no part in limits and rules.
    """
    ends, ticks = look.domain([p.value for p in points], also=[r.at for r in rules])
    places = 0 if all(float(t).is_integer() for t in ticks) else 1
    left = widest([number(t, places) for t in ticks], SIZE) + GAP
    room = widest([r.label for r in rules], SIZE) + (GAP if rules else 4)
    pieces = []
    for kind, whole in (("wide", look.WIDE), ("narrow", look.NARROW)):
        plot = _Plot(whole, left, whole - room, ends[0], ends[1], max(len(points), 1))
        body = "".join((_axis(plot, ticks, places, unit), _levels(plot, rules), _letters(plot, points),
                        _joined(plot, points) if is_joined else "", *(_dot(plot, k, p) for k, p in enumerate(points)),
                        _names(plot, [p.label for p in points])))  # fmt: skip
        drawing = named(f"{words.name}-{kind[0]}", words.title, words.desc, (whole, HEAD + TALL + FOOT), body)
        pieces.append(f'<div class="{kind}">{drawing}</div>')
    return Html("".join(pieces))


def _text(x: float, y: float, said: str, anchor: str, colour: str = look.INK) -> str:
    return f'<text x="{d(x)}" y="{d(y)}" text-anchor="{anchor}" fill="{colour}">{escape(said)}</text>'


def _axis(plot: _Plot, ticks: Sequence[float], places: int, unit: str) -> str:
    lines = "".join(f"M{d(plot.left)},{d(plot.y(t))}H{d(plot.right)}" for t in ticks)
    said = "".join(_text(plot.left - GAP + 4, plot.y(t) + 4.5, number(t, places), "end") for t in ticks)
    return f'<path d="{lines}" stroke="{look.GRID}" fill="none"/>{said}{_text(0, 14, unit, "start", look.MUTED)}'


def _levels(plot: _Plot, rules: Sequence[Rule]) -> str:
    """Level lines, their names at the right and never on each other."""
    drawn, free = "", HEAD + TALL + LABEL_ROOM
    for rule in sorted(rules, key=lambda r: r.at):
        at, dash = plot.y(rule.at), "" if rule.is_solid else ' stroke-dasharray="5 4"'
        free = min(at + 4.5, free - LABEL_ROOM)
        drawn += f'<path d="M{d(plot.left)},{d(at)}H{d(plot.right)}" stroke="{look.MUTED}"{dash} fill="none"/>'
        drawn += _text(plot.right + 6, free, rule.label, "start", look.MUTED)
    return drawn


def _letters(plot: _Plot, points: Sequence[Point]) -> str:
    """The letters of a quarter's notes above a dotted upright line."""
    marked = [(plot.x(k), p.marks) for k, p in enumerate(points) if p.marks]
    return "".join(
        f'<path d="M{d(x)},{d(HEAD - 6)}V{d(HEAD + TALL)}" stroke="{look.MUTED}" stroke-dasharray="1 3" fill="none"/>'
        + _text(x, HEAD - LETTER_ROOM + 4, marks, "middle", look.INK) for x, marks in marked)


def _joined(plot: _Plot, points: Sequence[Point]) -> str:
    """One line through the full dots; a hollow one or a gap is passed over."""
    full = [(plot.x(k), plot.y(p.value)) for k, p in enumerate(points) if p.value is not None and not p.is_hollow]
    if len(full) < 2:
        return ""
    way = "L".join(f"{d(x)},{d(y)}" for x, y in full)
    return f'<path d="M{way}" stroke="{look.C1}" stroke-width="1.4" fill="none"/>'


def _dot(plot: _Plot, place: int, point: Point) -> str:
    if point.value is None:
        return ""
    x, y, tip = d(plot.x(place)), d(plot.y(point.value)), f"<title>{escape(point.tip)}</title>"
    ring = f'<circle cx="{x}" cy="{y}" r="9" fill="none" stroke="{look.C2}" stroke-width="2"/>'
    look_of = f'fill="{look.PAPER}" stroke="{look.C1}" stroke-width="1.6"' if point.is_hollow else f'fill="{look.C1}"'
    return f'{ring if point.is_ringed else ""}<circle cx="{x}" cy="{y}" r="4.2" {look_of}>{tip}</circle>'


def _names(plot: _Plot, labels: Sequence[str]) -> str:
    """Names of quarters below, thinned from the last one back until they fit."""
    step = max(1, -int(-(widest(labels, SIZE) + GAP) // ((plot.right - plot.left) / plot.count)))
    drawn = ""
    for place in range(len(labels) - 1, -1, -step):
        half = width(labels[place], SIZE) / 2
        x = min(max(plot.x(place), half), plot.whole - half)
        drawn += _text(x, HEAD + TALL + 20, labels[place], "middle")
    return drawn
