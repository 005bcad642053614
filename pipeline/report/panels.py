"""Panels of one client on one axis of weeks, drawn by hand: the same scales for all, so that cards can be compared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from pipeline.report.chart_style import BAND, C1, C2, FACE, GRID, MUTED, PAPER, ticks
from pipeline.report.clients import Client
from pipeline.report.svg import decimal as d
from pipeline.report.svg import path
from pipeline.report.views import Html
from pipeline.report.words import number, tell
from pipeline.results import Result

WIDTH, LEFT, RIGHT = 480, 44, 10
TOP, TALL, SMALL, GAP = 20, 132, 46, 34


@dataclass(frozen=True)
class Scales:
    """Ends of the axes, shared by all cards of a page: weeks, pressure (cmH2O) by pressure, settings."""

    first: float
    weeks: float
    pressure: dict[str, tuple[float, float]]
    setting: float

    def x(self, week: float) -> float:
        """Where a week stands."""
        return LEFT + (WIDTH - LEFT - RIGHT) * (week - self.first) / (self.weeks - self.first)


def scales(clients: Sequence[Client]) -> Scales:
    """Make the scales that hold every client."""
    every = [r for c in clients for s in c.series.values() for r in s if r.at is not None]
    weeks = max([12.0, *(r.at or 0.0 for r in every), *(r.high or 0.0 for r in every if r.statistic == "pause")])
    reach: dict[str, tuple[float, float]] = {}
    for pressure in sorted({c.pressure for c in clients}):
        tests = [r for c in clients if c.pressure == pressure for r in c.many("test_value")]
        values = [v for r in tests for v in (r.value, r.low, r.high) if v is not None]
        marks = ticks(min(values, default=0.0), max(values, default=100.0), 5)
        reach[pressure] = (marks[0], marks[-1])
    top = max((r.value or 0.0 for r in every if r.statistic in ("setting_in", "setting_out")), default=1.0)
    return Scales(min([0.0, *(r.at or 0.0 for r in every)]) - 0.5, weeks + 1, reach, ticks(0, max(top, 1.0), 4)[-1])


@dataclass(frozen=True)
class Box:
    """One panel: from `top`, `height` px tall, showing low to high."""

    top: float
    height: float
    low: float
    high: float

    def y(self, value: float) -> float:
        """Where a value stands; values outside are kept at the edge."""
        inside = min(max(value, self.low), self.high)
        return self.top + self.height * (1 - (inside - self.low) / ((self.high - self.low) or 1.0))


def _text(x: float, y: float, words: str, anchor: str = "start", colour: str = MUTED) -> str:
    return f'<text x="{d(x)}" y="{d(y)}" text-anchor="{anchor}" fill="{colour}">{escape(words)}</text>'


def _frame(box: Box, title: str, marks: Sequence[float], places: int = 0) -> str:
    """Title above a panel, faint lines and numbers at its marks."""
    lines = "".join(f'<path d="M{LEFT},{d(box.y(m))}H{WIDTH - RIGHT}" stroke="{GRID}"/>'
                    + _text(LEFT - 6, box.y(m) + 5, number(m, places), "end", "currentColor") for m in marks)
    return lines + _text(0, box.top - 14, title)


def _spots(rows: Sequence[Result], scale: Scales, box: Box, colour: str, radius: float = 3.5) -> str:
    return "".join(f'<circle cx="{d(scale.x(r.at))}" cy="{d(box.y(r.value))}" r="{radius}" fill="{colour}"/>'
                   for r in rows if r.at is not None and r.value is not None)


def _pressure(client: Client, scale: Scales, box: Box) -> str:
    """Tests (the first hollow), the fitted line, and the error of one test on the last."""
    tests = [r for r in client.many("test_value") if r.at is not None and r.value is not None]
    line = [(scale.x(r.at), box.y(r.value)) for r in client.many("fitted") if r.at is not None and r.value is not None]
    drawn = f'<path d="{path(line)}" fill="none" stroke="{C2}" stroke-width="2"/>' if len(line) > 1 else ""
    if tests and tests[-1].low is not None and tests[-1].high is not None:
        foot, head = d(box.y(tests[-1].low)), d(box.y(tests[-1].high))
        drawn += f'<path d="M{d(scale.x(tests[-1].at or 0.0))},{foot}V{head}" stroke="{C1}" stroke-width="1.5"/>'
    if tests:
        x, y = scale.x(tests[0].at or 0.0), box.y(tests[0].value or 0.0)
        drawn += f'<circle cx="{d(x)}" cy="{d(y)}" r="4" fill="{PAPER}" stroke="{C1}" stroke-width="1.5"/>'
    return drawn + _spots(tests[1:], scale, box, C1, 4)


def _settings(client: Client, scale: Scales, box: Box) -> str:
    """Steps of the resistance setting: breathing in solid, breathing out dashed."""
    drawn = ""
    for statistic, colour, dash in (("setting_in", C1, ""), ("setting_out", C2, ' stroke-dasharray="5 3"')):
        rows = [r for r in client.many(statistic) if r.at is not None and r.value is not None]
        if rows:
            steps = f"M{d(scale.x(rows[0].at or 0))},{d(box.y(rows[0].value or 0))}"
            steps += "".join(f"H{d(scale.x(r.at or 0))}V{d(box.y(r.value or 0))}" for r in rows[1:])
            drawn += f'<path d="{steps}h4" fill="none" stroke="{colour}" stroke-width="2"{dash}/>'
    return drawn


def _effort(client: Client, scale: Scales, box: Box) -> str:
    """Ratings on the target band (the band of each row's own low and high)."""
    rows = [r for r in client.many("effort") if r.at is not None]
    banded = [r for r in rows if r.low is not None and r.high is not None]
    drawn = ""
    if banded:
        step = scale.x(1) - scale.x(0)
        drawn = "".join(f'<rect x="{d(scale.x(r.at or 0) - step / 2)}" y="{d(box.y(r.high or 0))}" width="{d(step)}" '
                        f'height="{d(box.y(r.low or 0) - box.y(r.high or 0))}" fill="{BAND}"/>' for r in banded)
    return drawn + _spots(rows, scale, box, C1, 3)


def _effort_words(client: Client) -> str:
    rows = client.many("effort")
    banded = any(r.low is not None and r.high is not None for r in rows)
    return ("effort_band" if banded else "effort") if rows else "no_effort"


def _adherence(client: Client, scale: Scales, box: Box) -> str:
    """A bar a week up to the top of the scale; a week without a log is a gap, a logged week of nothing a flat mark."""
    wide = max(2.0, (scale.x(1) - scale.x(0)) * 0.75)
    return "".join(
        f'<rect x="{d(scale.x(r.at) - wide / 2)}" y="{d(min(box.y(r.value), box.y(0) - 1.5))}" width="{d(wide)}" '
        f'height="{d(max(1.5, box.y(0) - box.y(r.value)))}" fill="{C1}"/>'
        for r in client.many("weekly_adherence") if r.at is not None and r.value is not None)


def _pauses(client: Client, scale: Scales, foot: float, name: str) -> str:
    bands = ""
    for r in client.many("pause"):
        start, end = scale.x(r.at or 0), scale.x(r.high or r.at or 0)
        bands += (f'<rect x="{d(start)}" y="{TOP}" width="{d(max(2.0, end - start))}" height="{d(foot - TOP)}" '
                  f'fill="url(#{name}-h)"><title>{escape(tell(r.text.replace("_", " ")))}</title></rect>')
    hatch = (f'<pattern id="{name}-h" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
             f'<path d="M0,0V6" stroke="{MUTED}" stroke-width="2" opacity=".45"/></pattern>')
    return f"<defs>{hatch}</defs>{bands}" if bands else ""


def _events(client: Client, scale: Scales, foot: float) -> str:
    """Lettered lines; the letters are spelt out under the panels."""
    return "".join(
        f'<path d="M{d(scale.x(r.at or 0))},{TOP}V{d(foot)}" stroke="currentColor" stroke-dasharray="2 3"/>'
        + _text(scale.x(r.at or 0), TOP - 6, letter(place), "middle", "currentColor")
        for place, r in enumerate(client.many("event")))


def letter(place: int) -> str:
    """A, B, ... Z, then AA, AB ..."""
    return chr(65 + place) if place < 26 else letter(place // 26 - 1) + letter(place % 26)


def drawing(client: Client, scale: Scales, name: str, title: str, desc: str, words: dict[str, str]) -> Html:
    """Draw one client's panels; `words` holds the panels' titles (pressure, setting, effort, adherence, weeks)."""
    low, high = scale.pressure.get(client.pressure, (0.0, 100.0))
    boxes = [Box(TOP + GAP, TALL, low, high)]
    for ends in ((0.0, scale.setting), (0.0, 10.0), (0.0, 120.0)):
        boxes.append(Box(boxes[-1].top + boxes[-1].height + GAP, SMALL, *ends))
    foot = boxes[-1].top + SMALL
    frames = [_frame(boxes[0], words["pressure"], [m for m in ticks(low, high, 5) if low <= m <= high]),
              _frame(boxes[1], words["setting"] if client.many("setting_in") or client.many("setting_out")
                     else words["no_setting"], (0, scale.setting)),
              _frame(boxes[2], words[_effort_words(client)], (0, 5, 10)),
              _frame(boxes[3], words["adherence"] if client.many("weekly_adherence") else words["no_adherence"],
                     (0, 100))]
    weeks = "".join(_text(scale.x(w), foot + 18, number(w), "middle", "currentColor")
                    for w in ticks(0, scale.weeks, 8) if scale.first <= w <= scale.weeks)
    marks = (_pressure(client, scale, boxes[0]) + _settings(client, scale, boxes[1]) + _effort(client, scale, boxes[2])
             + _adherence(client, scale, boxes[3]))
    return Html(
        f'<svg viewBox="0 0 {WIDTH} {d(foot + 44)}" role="img" aria-labelledby="{name}-t {name}-d" class="panels" '
        f'font-family="{FACE}" font-size="14"><title id="{name}-t">{escape(title)}</title>'
        f'<desc id="{name}-d">{escape(desc)}</desc>{_pauses(client, scale, foot, name)}{"".join(frames)}'
        f'{_events(client, scale, foot)}{marks}{weeks}{_text(LEFT, foot + 38, words["weeks"])}</svg>')
