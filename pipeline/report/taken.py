"""Take figures and tables out of a finished page: each figure as an SVG file of its own, each table as CSV."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html import escape
from html.parser import HTMLParser

import polars as pl

from pipeline.report.svg import SPACE
from pipeline.report.twins import disarmed

_FIGURE = re.compile(r'<figure id="([a-z0-9_-]+)">(.*?)</figure>', re.S)
_CAPTION = re.compile(r"<figcaption>(.*?)</figcaption>", re.S)
_WIDE = re.compile(r'<div class="wide">(<svg.*?</svg>)</div>', re.S)
_VARIABLE = re.compile(r"var\(--[a-z0-9-]+, ?([^()]+)\)")
_TAG = re.compile(r"<[^>]+>")
INK = "#1b1f24"


def figures(page: str) -> dict[str, str]:
    """Name to SVG of each figure of a page, as drawn for a wide column on white paper, its caption inside as <desc>.

    A page colours its drawings by its own variables; a file of its own has none, so each takes the colour of paper.
    """
    made = {}
    for name, body in _FIGURE.findall(page):
        drawing, caption = _WIDE.search(body), _CAPTION.search(body)
        if drawing is None:
            continue
        svg = _VARIABLE.sub(r"\1", drawing.group(1)).replace("currentColor", INK)
        svg = svg.replace("<svg ", f'<svg xmlns="{SPACE}" ', 1) if "xmlns=" not in svg else svg
        svg = svg.replace('style="', 'style="background:#fff;', 1)
        said = " ".join(_TAG.sub(" ", caption.group(1)).split()) if caption else ""
        made[name] = svg.replace("</svg>", f"<metadata>{escape(said)}</metadata></svg>") + "\n"
    return made


@dataclass
class _Reading(HTMLParser):
    """Collects the tables of a page: id to rows of cells, the first row the headings."""

    tables: dict[str, list[list[str]]] = field(default_factory=dict)
    name: str = ""
    cell: list[str] | None = None

    def __post_init__(self) -> None:
        super().__init__()
        self.frame = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag == "section" and (given.get("class") or "") == "scroll":
            self.frame = given.get("id") or ""
        elif tag == "table":
            self.name = self.frame
            self.tables[self.name] = []
        elif tag == "tr" and self.name:
            self.tables[self.name].append([])
        elif tag in ("th", "td") and self.name:
            self.cell = []

    def handle_data(self, data: str) -> None:
        if self.cell is not None:
            self.cell.append(data)

    def handle_endtag(self, tag: str) -> None:
        if tag in ("th", "td") and self.cell is not None:
            self.tables[self.name][-1].append(" ".join("".join(self.cell).split()))
            self.cell = None
        elif tag == "table":
            self.name = ""


def tables(page: str) -> dict[str, str]:
    """Name to CSV of each table of a page, cells as printed; a heading over a run of rows becomes a first column."""
    reading = _Reading()
    reading.feed(page)
    return {name: _csv(rows) for name, rows in reading.tables.items() if len(rows) > 1}


def _csv(rows: list[list[str]]) -> str:
    head, group, body = rows[0], "", []
    grouped = any(len(row) == 1 for row in rows[1:])
    for row in rows[1:]:
        if len(row) == 1 and len(head) > 1:
            group = row[0]
            continue
        body.append([group, *row] if grouped else row)
    names = ["part", *head] if grouped else head
    unique = [n if names.index(n) == k else f"{n} ({k + 1})" for k, n in enumerate(names)]
    filled = [[*row, *[""] * (len(unique) - len(row))][: len(unique)] for row in body]
    return disarmed(pl.DataFrame(filled, schema=dict.fromkeys(unique, pl.String), orient="row")).write_csv()
