"""The one door to the chart engine: plain points in, an inline SVG for a wide and for a narrow column out.

Every chart is drawn twice (a wide drawing shrunk to a phone has letters of 7 px); the page shows the one that fits.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any

import altair as alt
import vl_convert
from altair.utils.schemapi import debug_mode

from pipeline.report import chart_style as look
from pipeline.report.chart_style import Rule, Spot, Words
from pipeline.report.ladders import ladder
from pipeline.report.language import texts
from pipeline.report.letters import wrapped
from pipeline.report.svg import TIP, clean
from pipeline.report.views import Html

__all__ = ["curve", "dots", "ladder", "stack"]

Chart = Any  # the engine's own chart types do not agree with each other
_TEXTS = ("tip", "name", "label", "text", "part")


@lru_cache(maxsize=512)
def _svg(spec: str, decimal: str) -> str:
    marks = {"decimal": decimal, "thousands": "\u202f", "grouping": [3], "currency": ["", ""]}
    return vl_convert.vegalite_to_svg(json.loads(spec), config=look.CONFIG, allowed_base_urls=[], format_locale=marks)


def _drawn(words: Words, build: Callable[[bool], Sequence[Chart]], height: int, narrow_height: int,
           unit: str = "") -> Html:
    """Render both widths of a chart from its layers; `build` gets True for the narrow one.

    The layers are put together here and unchecked: the engine's own layering copies and checks every part many times
    over, which took four fifths of the time of a chart (the tests check one of each kind against its schema).
    """
    pieces = []
    for kind, width, tall in (("wide", look.WIDE, height), ("narrow", look.NARROW, narrow_height)):
        with debug_mode(False):
            layers = [layer.to_dict(validate=False, context={"top_level": False}) for layer in build(kind == "narrow")]
        spec = {"layer": _filled(layers), "width": width, "height": tall,
                "autosize": {"type": "fit", "contains": "padding"}}
        spec |= {"title": {"text": _lines(unit, kind == "narrow")}} if unit else {}
        svg = _svg(json.dumps(spec, sort_keys=True), texts().entries["locale.decimal"])
        named = clean(svg, name=f"{words.name}-{kind[0]}", title=words.title, desc=words.desc)
        pieces.append(f'<div class="{kind}">{named}</div>')
    return Html("".join(pieces))


def _filled(spec: Any) -> Any:
    """Put the rows back where `_data` left them in the data's name."""
    if isinstance(spec, list):
        return [_filled(piece) for piece in spec]
    if not isinstance(spec, dict):
        return spec
    return {k: {"values": json.loads(v["name"])} if k == "data" else _filled(v) for k, v in spec.items()}


def _data(rows: Sequence[dict[str, Any]]) -> alt.Chart:
    """A chart over rows: the texts in _TEXTS, all else numbers, rounded and without NaN.

    The rows travel as the data's name: the engine copies inline values again at every step, a name it leaves alone.
    """
    plain = [{name: value if name in _TEXTS else _rounded(value) for name, value in row.items()} for row in rows]
    return alt.Chart(alt.NamedData(name=json.dumps(plain)))


def _rounded(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(float(value), 4)


def _lines(title: str, is_narrow: bool) -> list[str]:
    """A title in lines that the drawing has room for, whatever the reader's face."""
    return wrapped(title, (look.NARROW if is_narrow else look.WIDE) - 70, look.SIZE)


def _axis(field: str, ends: Sequence[float], marks: Sequence[float], title: list[str] | None = None) -> dict[str, Any]:
    return {"shorthand": field, "title": title, "scale": alt.Scale(domain=list(ends), nice=False),
            "axis": alt.Axis(values=list(marks))}


def _across(rule: Rule, x: alt.X, y: Callable[[str], alt.Y], first: float, last: float) -> list[Chart]:
    """A level line with its word above it at the left."""
    base = _data([{"x": first, "x2": last, "y": rule.at, "label": rule.label}])
    line = base.mark_rule(color=look.MUTED, strokeDash=[1, 0] if rule.is_solid else [5, 4])
    text = base.mark_text(align="left", baseline="bottom", dx=4, dy=-2, color=look.MUTED)
    return [line.encode(x=x, x2=alt.X2("x2:Q"), y=y("y:Q")), text.encode(x=x, y=y("y:Q"), text=alt.Text("label:N"))]


def _line_ends(spots: Sequence[Spot], gap: float) -> list[dict[str, Any]]:
    """Where each series' name stands: at its last point, moved up where two names would meet."""
    last = {s.series: s for s in spots if s.series and s.value is not None}
    ends: list[dict[str, Any]] = []
    for name, spot in sorted(last.items(), key=lambda item: (item[1].value or 0.0, item[0])):
        height = max(spot.value or 0.0, float(ends[-1]["y"]) + gap) if ends else spot.value
        ends.append({"x": spot.x, "y": height, "name": name})
    return ends


def curve(words: Words, spots: Sequence[Spot], *, unit: str, x_title: str, rules: Sequence[Rule] = (),
          band: tuple[float, float] | None = None, also: Sequence[float] = (), height: int = 330) -> Html:
    """Lines over time, each with a band for its interval; one or two series, named at their ends."""
    names = list(dict.fromkeys(s.series for s in spots))
    ends, marks = look.domain([v for s in spots for v in (s.value, s.low, s.high)],
                              also=[*also, *(r.at for r in rules), *(band or ())])
    first, last = min(s.x for s in spots), max(s.x for s in spots)
    first = 0.0 if 0 < first <= 2 else first  # an axis of weeks begins at the start
    rows = [{"x": s.x, "y": s.value, "low": s.low, "high": s.high, "tip": TIP + s.tip, "name": s.series} for s in spots]
    tails = _line_ends(spots, (ends[1] - ends[0]) * 0.07)
    paint = alt.Color("name:N", legend=None,
                      scale=alt.Scale(domain=names, range=[look.C1, look.C2, look.C3][: len(names)]))
    dash = alt.StrokeDash("name:N", legend=None,
                          scale=alt.Scale(domain=names, range=[[1, 0], [7, 4], [2, 3]][: len(names)]))

    def build(is_narrow: bool) -> list[Chart]:
        room = look.share_at_right(names, is_narrow) * (last - first)
        x = alt.X(**_axis("x:Q", (first, last + room), look.ticks(first, last, 5 if is_narrow else 9),
                          _lines(x_title, is_narrow)))

        def y(field: str) -> alt.Y:
            return alt.Y(**_axis(field, ends, marks))

        layers: list[Chart] = []
        if band:
            box = _data([{"x": first, "x2": last, "y": band[0], "y2": band[1]}])
            layers.append(box.mark_rect(color=look.GRID).encode(x=x, x2=alt.X2("x2:Q"), y=y("y:Q"), y2=alt.Y2("y2:Q")))
        base = _data(rows)
        layers.append(base.mark_area(opacity=0.2).encode(x=x, y=y("low:Q"), y2=alt.Y2("high:Q"), color=paint))
        for rule in rules:
            layers += _across(rule, x, y, first, last)
        layers.append(base.mark_line().encode(x=x, y=y("y:Q"), color=paint, strokeDash=dash))
        layers.append(base.mark_point(filled=True, size=40, opacity=1).encode(
            x=x, y=y("y:Q"), color=paint, description=alt.Description("tip:N")))
        if tails:
            layers.append(_data(tails).mark_text(align="left", dx=9, fontWeight="bold").encode(
                x=x, y=y("y:Q"), text=alt.Text("name:N"), color=paint))
        return layers

    return _drawn(words, build, height, height - 50, unit)


def stack(words: Words, rows: Sequence[tuple[str, str, float, str]], parts: Sequence[str], colours: Sequence[str], *,
          unit: str, x_title: str, shown: Sequence[str] | None = None, height: int = 290) -> Html:
    """Stacked shares (%) of (column, part, share, tip), parts from the foot up; `shown` thins the column labels."""
    columns = list(dict.fromkeys(r[0] for r in rows))
    data = [{"label": c, "part": p, "y": y, "tip": TIP + t, "rank": float(parts.index(p))} for c, p, y, t in rows]

    def build(is_narrow: bool) -> list[Chart]:
        labels = list(shown or columns)
        labels = labels[::2] if is_narrow and len(labels) > 6 else labels
        return [_data(data).mark_bar(stroke=look.PAPER, strokeWidth=1).encode(
            x=alt.X("label:N", title=_lines(x_title, is_narrow), sort=columns, axis=alt.Axis(values=labels),
                    scale=alt.Scale(paddingInner=0.06, paddingOuter=0.02)),
            y=alt.Y(**_axis("y:Q", (0, 100), (0, 25, 50, 75, 100))),
            color=alt.Color("part:N", legend=None, scale=alt.Scale(domain=list(parts), range=list(colours))),
            order=alt.Order("rank:Q"), description=alt.Description("tip:N"))]

    return _drawn(words, build, height, height - 30, unit)


def dots(words: Words, values: Sequence[float], *, x_title: str, band: tuple[float, float], share_each: str) -> Html:
    """Quantile dots, each an equal share of people, stacked in columns that break at the ends of the band."""
    width = (band[1] - band[0]) / 8
    heights: dict[int, int] = {}
    rows: list[dict[str, Any]] = []
    for v in sorted(values):
        column = int((v - band[0]) // width)
        heights[column] = heights.get(column, 0) + 1
        rows.append({"x": band[0] + (column + 0.5) * width, "y": float(heights[column]), "tip": TIP + share_each})
    ends, marks = look.domain([float(r["x"]) for r in rows], also=[0.0, *band], most=9)
    tallest = max(heights.values(), default=1) + 1.0

    def build(is_narrow: bool) -> list[Chart]:
        x: dict[str, Any] = {"scale": alt.Scale(domain=ends, nice=False), "title": _lines(x_title, is_narrow),
             "axis": alt.Axis(values=marks[::2] if is_narrow else marks)}
        y = alt.Y("y:Q", axis=None, scale=alt.Scale(domain=[0, tallest]))
        box = _data([{"x": max(band[0], ends[0]), "x2": min(band[1], ends[1])}])
        zero = _data([{"x": 0.0}])
        return [
            box.mark_rect(color=look.GRID).encode(x=alt.X("x:Q", **x), x2=alt.X2("x2:Q")),
            zero.mark_rule(color=look.MUTED).encode(x=alt.X("x:Q", **x)),
            _data(rows).mark_point(filled=True, opacity=1, color=look.C1, size=60 if is_narrow else 150).encode(
                x=alt.X("x:Q", **x), y=y, description=alt.Description("tip:N"))]

    return _drawn(words, build, int(60 + 17 * tallest), int(60 + 13 * tallest))
