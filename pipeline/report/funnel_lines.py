"""The funnel of sites, drawn by hand: size against value, limits, dots without names, and one own site as a diamond."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape

from pipeline.report import chart_style as look
from pipeline.report.chart_style import SIZE, Words
from pipeline.report.letters import widest
from pipeline.report.svg import decimal as d
from pipeline.report.svg import named
from pipeline.report.views import Html
from pipeline.report.words import number

HEAD, TALL, FOOT, GAP = 26.0, 220.0, 46.0, 10.0


@dataclass(frozen=True)
class Dot:
    """One site: people (or tests) behind it, value, words of its tip, its name where it is the own one."""

    n: float
    value: float
    tip: str
    own: str = ""


Limits = Sequence[tuple[float, float, float]]


def funnel(
    words: Words, dots: Sequence[Dot], limits: Mapping[str, Limits], centre: float, *, unit: str, x_title: str
) -> Html:
    """Draw a funnel, wide and narrow. limits: name to (n, low, high), the first dotted, the second dashed."""
    values = [v for line in limits.values() for _, low, high in line for v in (low, high)]
    ends, ticks = look.domain([*values, *(dot.value for dot in dots)])
    sizes = [n for line in limits.values() for n, _, _ in line] + [dot.n for dot in dots]
    span, marks = look.domain(sizes)
    left = widest([number(t) for t in ticks], SIZE) + GAP
    pieces = []
    for kind, whole in (("wide", look.WIDE), ("narrow", look.NARROW)):
        right = whole - 14.0

        def x(n: float, right: float = right) -> float:
            return left + (right - left) * (n - span[0]) / ((span[1] - span[0]) or 1.0)

        def y(value: float) -> float:
            return HEAD + TALL * (1.0 - (value - ends[0]) / ((ends[1] - ends[0]) or 1.0))

        grid = "".join(f"M{d(left)},{d(y(t))}H{d(right)}" for t in ticks)
        body = [f'<path d="{grid}" stroke="{look.GRID}" fill="none"/>', _text(0, 14, unit, "start", look.MUTED),
                *(_text(left - 6, y(t) + 4.5, number(t), "end") for t in ticks),
                *(_text(min(max(x(m), left), right - 8), HEAD + TALL + 18, number(m), "middle") for m in marks),
                _text(whole / 2, HEAD + TALL + 38, x_title, "middle", look.MUTED),
                f'<path d="M{d(left)},{d(y(centre))}H{d(right)}" stroke="{look.MUTED}" fill="none"/>']
        for dash, line in zip(("2 3", "7 4"), limits.values(), strict=False):
            for side in (1, 2):
                way = "L".join(f"{d(x(point[0]))},{d(y(point[side]))}" for point in line)
                body.append(f'<path d="M{way}" stroke="{look.MUTED}" stroke-dasharray="{dash}" fill="none"/>')
        body += [_dot(x(dot.n), y(dot.value), dot, right) for dot in sorted(dots, key=lambda dot: bool(dot.own))]
        drawing = named(f"{words.name}-{kind[0]}", words.title, words.desc, (whole, HEAD + TALL + FOOT), "".join(body))
        pieces.append(f'<div class="{kind}">{drawing}</div>')
    return Html("".join(pieces))


def _text(x: float, y: float, said: str, anchor: str, colour: str = look.INK) -> str:
    return f'<text x="{d(x)}" y="{d(y)}" text-anchor="{anchor}" fill="{colour}">{escape(said)}</text>'


def _dot(x: float, y: float, dot: Dot, right: float) -> str:
    tip = f"<title>{escape(dot.tip)}</title>"
    if not dot.own:
        return f'<circle cx="{d(x)}" cy="{d(y)}" r="4.2" fill="{look.C1}">{tip}</circle>'
    shape = f"M{d(x)},{d(y - 8)}L{d(x + 6)},{d(y)}L{d(x)},{d(y + 8)}L{d(x - 6)},{d(y)}Z"
    is_late = x > right - 120
    name = _text(x - 10 if is_late else x + 10, y - 8, dot.own, "end" if is_late else "start")
    return f'<path d="{shape}" fill="{look.C2}">{tip}</path>{name}'
