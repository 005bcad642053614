"""Small SVG: clean what the chart engine made, and draw sparklines and bars by hand."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from html import escape

from pipeline.report.views import Html

SPACE = "http://www.w3.org/2000/svg"
#: Only descriptions that begin with this invisible sign are ours; all others are automatic and are dropped.
TIP = "\u2063"
_NUMBER = re.compile(r"-?\d+\.\d+(?:e-?\d+)?")
_URL = re.compile(r"url\(#([^)]+)\)")
_GEOMETRY = ("d", "transform", "x", "y", "x1", "x2", "y1", "y2", "width", "height", "cx", "cy", "r", "points")
_DROPPED = ("role", "class", "version", "pointer-events", "opacity", "stroke-miterlimit")


def _one_decimal(text: str) -> str:
    return _NUMBER.sub(lambda found: f"{float(found.group()) + 0.0:.1f}".removesuffix(".0").replace("-0", "0")
                       if abs(float(found.group())) < 0.05 else f"{float(found.group()):.1f}".removesuffix(".0"), text)


def _tidy(element: ET.Element, names: dict[str, str]) -> None:
    """Drop noise, keep our own point texts as <title>, round coordinates, give ids the chart's own names."""
    label = element.get("aria-label", "")
    for name in list(element.attrib):
        kept_faint = name == "opacity" and element.attrib[name] not in ("1", "")
        if (name.startswith("aria-") or name in _DROPPED) and not kept_faint:
            del element.attrib[name]
        elif name == "id":
            element.attrib[name] = names[element.attrib[name]]
        elif name in _GEOMETRY:
            element.attrib[name] = _one_decimal(element.attrib[name])
        elif "url(#" in element.attrib[name]:
            element.attrib[name] = _URL.sub(lambda m: f"url(#{names[m.group(1)]})", element.attrib[name])
    for child in list(element):
        if child.get("display") == "none" or (child.tag.endswith("}path") and not child.get("d", "").strip("M0,hvZ")):
            element.remove(child)
        else:
            _tidy(child, names)
    if label.startswith(TIP):
        title = ET.Element(f"{{{SPACE}}}title")
        title.text = label.removeprefix(TIP)
        element.insert(0, title)


def _without_empty_groups(element: ET.Element) -> None:
    for child in list(element):
        _without_empty_groups(child)
        if child.tag.endswith("}g") and len(child) == 0:
            element.remove(child)


def clean(raw: str, *, name: str, title: str, desc: str) -> Html:
    """Return the chart as an inline SVG that is named, described, scales with its column and shares no id.

    `name` prefixes every id: the engine numbers them per process, and two charts with one number cut each other off.
    """
    ET.register_namespace("", SPACE)
    root = ET.fromstring(raw)
    ids = [e.get("id", "") for e in root.iter() if e.get("id")]
    names = {old: f"{name}-{place}" for place, old in enumerate(ids, 1)}
    width = root.get("viewBox", "0 0 600 300").split()[2]
    _tidy(root, names)
    _without_empty_groups(root)
    box = root.get("viewBox", "")
    root.attrib.clear()
    root.attrib |= {"viewBox": box, "role": "img", "aria-labelledby": f"{name}-t {name}-d",
                    "style": f"max-width:{float(width):.0f}px"}
    for place, (tag, words) in enumerate((("title", title), ("desc", desc))):
        child = ET.Element(f"{{{SPACE}}}{tag}", {"id": f"{name}-{tag[0]}"})
        child.text = words
        root.insert(place, child)
    return Html(ET.tostring(root, encoding="unicode"))


def named(name: str, title: str, desc: str, size: tuple[float, float], body: str) -> Html:
    """A drawing made by hand, of a width and height in px, named and described for those who do not see it."""
    return Html(
        f'<svg viewBox="0 0 {decimal(size[0])} {decimal(size[1])}" role="img" aria-labelledby="{name}-t {name}-d" '
        f'style="max-width:{size[0]:.0f}px" class="own"><title id="{name}-t">{escape(title)}</title>'
        f'<desc id="{name}-d">{escape(desc)}</desc>{body}</svg>')


def decimal(value: float) -> str:
    """A coordinate with one decimal at most."""
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text in ("-0", "-0.0") else text


def path(points: Sequence[tuple[float, float]]) -> str:
    """The `d` of a line through points."""
    return "M" + "L".join(f"{decimal(x)},{decimal(y)}" for x, y in points)


def sparkline(values: Sequence[float | None], label: str) -> Html:
    """A small line of a key figure's past, last point marked; gaps stay gaps; "" with fewer than two values."""
    known = [v for v in values if v is not None]
    if len(known) < 2:
        return Html("")
    low, high = min(known), max(known)
    step, span = 116 / max(1, len(values) - 1), (high - low) or 1.0
    at = [None if v is None else (2 + i * step, 24 - 20 * (v - low) / span) for i, v in enumerate(values)]
    runs: list[list[tuple[float, float]]] = [[]]
    for point in at:
        if point is None:
            runs.append([])
        else:
            runs[-1].append(point)
    lines = "".join(f'<path d="{path(run)}"/>' for run in runs if len(run) > 1)
    last = next(p for p in reversed(at) if p is not None)
    return Html(
        f'<svg class="spark" viewBox="0 0 120 28" role="img" aria-label="{escape(label, quote=True)}">'
        f'<g fill="none" stroke="var(--muted,#5f6773)" stroke-width="1.5">{lines}</g>'
        f'<circle cx="{decimal(last[0])}" cy="{decimal(last[1])}" r="3" fill="var(--c1,#0072B2)"/></svg>'
    )


def bar(share: float) -> Html:
    """A small bar inside a table cell, as wide as the share (0 to 1); the number beside it is the text."""
    width = decimal(60 * min(1.0, max(0.0, share)))
    return Html('<svg class="bar" viewBox="0 0 60 8" aria-hidden="true"><rect width="60" height="8" '
                f'fill="var(--band,#dce9f7)"/><rect width="{width}" height="8" fill="var(--c1,#0072B2)"/></svg>')


def key(entries: Sequence[tuple[str, str]]) -> Html:
    """A key above a chart: (colour, word) in the order of the data."""
    items = "".join(
        f'<li><svg viewBox="0 0 14 14" aria-hidden="true"><rect width="14" height="14" rx="2" fill="{colour}"/></svg>'
        f"{escape(word)}</li>" for colour, word in entries)
    return Html(f'<ul class="key">{items}</ul>')
