"""The interval plot, drawn by hand: named rows with point, thick and thin interval, and their numbers in words.

A page may hold forty of them. The chart engine takes 0.1 s for one, this takes 0.001 s.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from html import escape

from pipeline.report import chart_style as look
from pipeline.report.chart_style import SIZE, Rule, Rung, Words
from pipeline.report.language import tell
from pipeline.report.letters import widest, width, wrapped
from pipeline.report.svg import decimal as d
from pipeline.report.svg import named
from pipeline.report.views import Html
from pipeline.report.words import number

LINE, ROW, GAP, FOOT = 16, 30, 14, 44
#: Most of the wide drawing that names at the left, and words at the right, may take.
MOST_LEFT, MOST_RIGHT = 0.42, 0.3


@dataclass(frozen=True)
class _Frame:
    """Where a drawing's parts stand: the plot from `left` to `right`, rows from `top`, values from `low` to `high`."""

    whole: float
    left: float
    right: float
    top: float
    low: float
    high: float

    def x(self, value: float) -> float:
        """Where a value stands."""
        return self.left + (self.right - self.left) * (value - self.low) / ((self.high - self.low) or 1.0)


@dataclass(frozen=True)
class _Row:
    """A row's foot, the height of its mark, and its words as drawn."""

    foot: float
    mark: float
    words: str


def ladder(words: Words, rungs: Sequence[Rung], *, x_title: str, rules: Sequence[Rule] = (),
           band: tuple[float, float] | None = None, also: Sequence[float] = ()) -> Html:
    """Named rows: point, thick interval, thin outer interval, hollow point for the value before, words at the right."""
    rungs = [replace(r, label=tell(r.label), text=tell(r.text)) for r in rungs]
    shown = [v for r in rungs for v in (r.value, r.low, r.high, r.outer_low, r.outer_high, r.before)]
    ends, marks = look.domain(shown, also=[*also, *(r.at for r in rules), *(band or ())])
    head = SIZE + 8.0 if any(r.label for r in rules) else 6.0
    pieces = []
    for kind, plan, ticks in (("wide", _wide, marks), ("narrow", _narrow, marks[:: 2 if len(marks) > 5 else 1])):
        frame, rows = plan(rungs, ends, head)
        foot = rows[-1].foot if rows else head
        zones = [(head, foot)] if kind == "wide" else [(r.mark - 10, r.mark + 10) for r in rows]
        extra = len(wrapped(x_title, frame.whole - 8, SIZE)) - 1
        behind = _band(frame, band, zones) + _axis(frame, ticks, zones, foot, x_title) + _rules(frame, rules, zones)
        body = behind + "".join(row.words + _marks(frame, rung, row.mark)
                                for row, rung in zip(rows, rungs, strict=True))
        size = (frame.whole, foot + FOOT + LINE * extra)
        drawing = named(f"{words.name}-{kind[0]}", words.title, words.desc, size, body)
        pieces.append(f'<div class="{kind}">{drawing}</div>')
    return Html("".join(pieces))


def _wide(rungs: Sequence[Rung], ends: Sequence[float], head: float) -> tuple[_Frame, list[_Row]]:
    """Names at the left, words at the right, each wrapped to its column."""
    names = [wrapped(r.label, look.WIDE * MOST_LEFT, SIZE) for r in rungs]
    tails = [wrapped(r.text, look.WIDE * MOST_RIGHT, SIZE) for r in rungs]
    left = widest([line for lines in names for line in lines], SIZE) + GAP
    right = look.WIDE - 4 - widest([line for lines in tails for line in lines], SIZE) - GAP
    rows, y = [], head
    for name, tail in zip(names, tails, strict=True):
        tall = max(ROW, 12 + LINE * max(len(name), len(tail)))
        texts = _lines(name, left - GAP, y + tall / 2, "end") + _lines(tail, look.WIDE - 4, y + tall / 2, "end")
        rows.append(_Row(y + tall, y + tall / 2, texts))
        y += tall
    return _Frame(look.WIDE, left, right, head, ends[0], ends[1]), rows


def _narrow(rungs: Sequence[Rung], ends: Sequence[float], head: float) -> tuple[_Frame, list[_Row]]:
    """Name and words above each mark, wrapped to the whole width."""
    rows, y = [], head
    for rung in rungs:
        lines = wrapped(f"{rung.label}: {rung.text}" if rung.text else rung.label, look.NARROW - 4, SIZE)
        tall = LINE * len(lines) + 24
        rows.append(_Row(y + tall, y + tall - 11, _lines(lines, 2, y + 4 + LINE * len(lines) / 2, "start")))
        y += tall
    return _Frame(look.NARROW, 12, look.NARROW - 16, head, ends[0], ends[1]), rows


def _text(x: float, y: float, words: str, anchor: str, colour: str = look.INK) -> str:
    return f'<text x="{d(x)}" y="{d(y)}" text-anchor="{anchor}" fill="{colour}">{escape(words)}</text>'


def _lines(lines: Sequence[str], x: float, middle: float, anchor: str) -> str:
    """Lines of text around a middle."""
    first = middle + 4.5 - LINE * (len(lines) - 1) / 2
    return "".join(_text(x, first + LINE * i, line, anchor) for i, line in enumerate(lines) if line)


Zones = Sequence[tuple[float, float]]


def _upright(x: float, zones: Zones) -> str:
    """The path of an upright line, left out where words stand."""
    return "".join(f"M{d(x)},{d(top)}V{d(foot)}" for top, foot in zones)


def _band(frame: _Frame, band: tuple[float, float] | None, zones: Zones) -> str:
    if band is None:
        return ""
    first, last = d(frame.x(band[0])), d(frame.x(band[1]))
    boxes = "".join(f"M{first},{d(top)}H{last}V{d(foot)}H{first}Z" for top, foot in zones)
    return f'<path d="{boxes}" fill="{look.GRID}"/>'


def _places(marks: Sequence[float]) -> int:
    """Decimals that tell the ticks apart."""
    return next((p for p in range(4) if all(abs(m - round(m, p)) < 1e-9 for m in marks)), 4)


def _axis(frame: _Frame, marks: Sequence[float], zones: Zones, foot: float, title: str) -> str:
    places = _places(marks)
    grid = "".join(_upright(frame.x(m), zones) for m in marks)
    numbers = "".join(_text(frame.x(m), foot + 17, number(m, places), "middle") for m in marks)
    lines = wrapped(title, frame.whole - 8, SIZE)
    half = widest(lines, SIZE) / 2
    middle = min(max((frame.left + frame.right) / 2, half + 2), frame.whole - half - 2)
    titles = "".join(_text(middle, foot + 38 + LINE * i, line, "middle", look.MUTED) for i, line in enumerate(lines))
    return (f'<path d="{grid}" stroke="{look.GRID}"/><path d="M{d(frame.left)},{d(foot)}H{d(frame.right)}" '
            f'stroke="{look.MUTED}"/>{numbers}{titles}')


def _rules(frame: _Frame, rules: Sequence[Rule], zones: Zones) -> str:
    """Upright lines with their words above, turned to the other side where two would meet."""
    drawn, taken = "", -1e9
    for rule in sorted(rules, key=lambda r: r.at):
        at, dash = frame.x(rule.at), "" if rule.is_solid else ' stroke-dasharray="5 4"'
        drawn += f'<path d="{_upright(at, zones)}" stroke="{look.MUTED}"{dash}/>'
        room = width(rule.label, SIZE)
        if rule.label and at + 4 + room <= frame.whole and at + 4 > taken:
            drawn += _text(at + 4, frame.top - 6, rule.label, "start", look.MUTED)
            taken = at + 4 + room
        elif rule.label:
            drawn += _text(at - 4, frame.top - 6, rule.label, "end", look.MUTED)
    return drawn


def _span(frame: _Frame, low: float | None, high: float | None, at: float, style: str) -> str:
    if low is None or high is None:
        return ""
    return f'<path d="M{d(frame.x(low))},{d(at)}H{d(frame.x(high))}" stroke="{look.C1}" {style}/>'


def _marks(frame: _Frame, rung: Rung, at: float) -> str:
    drawn = _span(frame, rung.outer_low, rung.outer_high, at, 'stroke-width="1.5"')
    drawn += _span(frame, rung.low, rung.high, at, 'stroke-width="5" opacity=".45"')
    if rung.before is not None:
        drawn += (f'<circle cx="{d(frame.x(rung.before))}" cy="{d(at)}" r="4.4" fill="none" stroke="{look.MUTED}" '
                  f'stroke-width="1.5"/>')
    if rung.value is None:
        return drawn
    x, tip = frame.x(rung.value), f"<title>{escape(f'{rung.label}: {rung.text}')}</title>"
    if not rung.is_main:
        return drawn + f'<circle cx="{d(x)}" cy="{d(at)}" r="4.4" fill="{look.C1}">{tip}</circle>'
    shape = f"M{d(x)},{d(at - 9)}L{d(x + 5.5)},{d(at)}L{d(x)},{d(at + 9)}L{d(x - 5.5)},{d(at)}Z"
    return drawn + f'<path d="{shape}" fill="{look.C1}">{tip}</path>'
