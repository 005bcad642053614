"""The mirrored histogram, drawn by hand: one group's bars upwards, the other's downwards, on one axis of chances."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from pipeline.report import chart_style as look
from pipeline.report.chart_style import SIZE, Words
from pipeline.report.svg import decimal as d
from pipeline.report.svg import named
from pipeline.report.views import Html
from pipeline.report.words import number

TALL, EDGE, FOOT = 96.0, 12.0, 44.0
HEAD = SIZE + 10.0


@dataclass(frozen=True)
class Bar:
    """A bar from `low` to `high` (0 to 1), its height, whether it stands up, and what is read on hovering."""

    low: float
    high: float
    height: float
    is_up: bool
    tip: str


def mirrored(words: Words, bars: Sequence[Bar], *, x_title: str, up: str, down: str) -> Html:
    """Draw the bars for a wide and a narrow column; the areas are people, so that bars of any width compare."""
    tallest = max((b.height for b in bars), default=1.0) or 1.0
    ends = (min((b.low for b in bars), default=0.0), max((b.high for b in bars), default=1.0))
    pieces = []
    for kind, whole, most in (("wide", look.WIDE, 11), ("narrow", look.NARROW, 6)):
        body = _body(bars, tallest, ends, whole, most, (x_title, up, down))
        height = HEAD + 2 * TALL + HEAD + FOOT
        drawing = named(f"{words.name}-{kind[0]}", words.title, words.desc, (whole, height), body)
        pieces.append(f'<div class="{kind}">{drawing}</div>')
    return Html("".join(pieces))


def _body(bars: Sequence[Bar], tallest: float, ends: tuple[float, float], whole: float, most: int,
          said: tuple[str, str, str]) -> str:  # fmt: skip
    marks = look.ticks(ends[0], ends[1], most)
    low, high = min(ends[0], marks[0]), max(ends[1], marks[-1])
    middle = HEAD + TALL

    def x(value: float) -> float:
        return EDGE + (whole - 2 * EDGE - 8) * (value - low) / ((high - low) or 1.0)

    drawn = []
    for bar in bars:
        height = TALL * bar.height / tallest
        top = middle - height if bar.is_up else middle
        colour = look.C1 if bar.is_up else look.C2
        drawn.append(f'<path d="M{d(x(bar.low) + 0.5)},{d(top)}H{d(x(bar.high) - 0.5)}V{d(top + height)}'
                     f'H{d(x(bar.low) + 0.5)}Z" fill="{colour}"><title>{escape(bar.tip)}</title></path>')  # fmt: skip
    axis = f'<path d="M{d(x(low))},{d(middle)}H{d(x(high))}" stroke="{look.MUTED}"/>'
    bottom = middle + TALL + HEAD
    places = next((p for p in range(3) if all(abs(m - round(m, p)) < 1e-9 for m in marks)), 2)
    numbers = "".join(_text(x(m), bottom + 12, number(m, places), "middle") for m in marks)
    x_title, up, down = said
    words = (_text(x(low), HEAD - 8, up, "start", look.C1) + _text(x(low), middle + TALL + 14, down, "start", look.C2)
             + _text((x(low) + x(high)) / 2, bottom + 32, x_title, "middle", look.MUTED))  # fmt: skip
    return "".join(drawn) + axis + numbers + words


def _text(x: float, y: float, words: str, anchor: str, colour: str = look.INK) -> str:
    return f'<text x="{d(x)}" y="{d(y)}" text-anchor="{anchor}" fill="{colour}">{escape(words)}</text>'
