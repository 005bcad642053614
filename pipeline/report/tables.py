"""The one door to great_tables: rows of text in, a table with pinned ids out; the library's styles are thrown away."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from html import escape

import polars as pl
from great_tables import GT

from pipeline.report.language import tell
from pipeline.report.svg import bar
from pipeline.report.views import Html, Table
from pipeline.report.words import HIDDEN

_STYLE = re.compile(r"<style>.*?</style>", re.S)
_FRAME = re.compile(r'<div id="([^"]+)" style="[^"]*">')
_NOISE = re.compile(r' (?:data-quarto-[a-z-]+="[^"]*"|rowspan="1"|colspan="1")')
_BLANKS = re.compile(r"\n\s*")
_BAR = re.compile("\u2063bar([0-9.]+)\u2063")
_LONG = re.compile(r'class="gt_row gt_(?:right">(?=[^<]{29,}</td>)|left">(?=[^<]{25,}</td>))')
_LONG_HEAD = re.compile(r'(<th class="gt_col_heading[^"]*)("[^>]*>)(?=[^<]{31,}</th>)')
_LINK = re.compile("\u2063go([^\u2063]+)\u2063([^\u2063]*)\u2063")
_INDENT = re.compile("\u2063in([0-9])\u2063")


@dataclass(frozen=True)
class Column:
    """A column: heading, and whether its cells are numbers (set to the right) or words."""

    heading: str
    is_number: bool = True


def with_bar(text: str, share: float | None) -> str:
    """Put a small bar (share of 0 to 1) before a cell's text; without a share the text alone."""
    return text if share is None else f"\u2063bar{share:.3f}\u2063{text}"


def indented(text: str, steps: int) -> str:
    """Set a row's name in by some steps."""
    return f"\u2063in{steps}\u2063{text}" if steps else text


def linked(text: str, target: str) -> str:
    """A link as part of a cell, on a line of its own; `target` is "#section" or "page.html#section"."""
    return f"\u2063go{target}\u2063{text}\u2063"


def _told(cell: str) -> str:
    """A cell in the language that is spoken; the mark of a bar or of setting in stays before it."""
    head, mark, words = cell.rpartition("\u2063")
    return head + mark + tell(words)


def table(name: str, caption: str, columns: Sequence[Column], rows: Sequence[Sequence[str]],
          groups: Sequence[str] = ()) -> Table:
    """Build a table from text cells; the first column names the rows. Every cell is escaped.

    `groups`, one a row, puts a heading over each run of rows with the same group.
    """
    columns = [replace(c, heading=tell(c.heading)) for c in columns]
    rows, groups, caption = [[_told(cell) for cell in row] for row in rows], [tell(g) for g in groups], tell(caption)
    keys = [f"c{i}" for i in range(len(columns))]
    frame = pl.DataFrame([dict(zip(keys, row, strict=True)) for row in rows], schema=dict.fromkeys(keys, pl.String))
    frame = frame.with_columns(pl.Series("group", list(groups), dtype=pl.String)) if groups else frame
    built = GT(frame, rowname_col="c0", groupname_col="group" if groups else None, id=name)
    built = built.tab_stubhead(columns[0].heading)
    built = built.cols_label({k: c.heading for k, c in zip(keys[1:], columns[1:], strict=True)})
    numbers = [k for k, c in zip(keys, columns, strict=True) if c.is_number and k != "c0"]
    words = [k for k in keys[1:] if k not in numbers]
    built = built.cols_align("right", columns=numbers) if numbers else built
    built = built.cols_align("left", columns=words) if words else built
    return Table(_own(built.as_raw_html(), name, caption))


def _plain_ids(html: str, name: str) -> str:
    """Number the ids that the library makes from headings: a blank inside an id would break `headers`."""
    made = list(dict.fromkeys(i for i in re.findall(r' id="([^"]+)"', html) if i != name))
    own = {old: f"{name}-{place}" for place, old in enumerate(made)}

    @cache
    def pointed(ids: str) -> str:
        """The new names of several ids that were joined by blanks, the longest old name first."""
        if not ids or ids in own:
            return own.get(ids, ids)
        words = ids.split(" ")
        for end in range(len(words) - 1, 0, -1):
            if (head := " ".join(words[:end])) in own:
                return f"{own[head]} {pointed(' '.join(words[end:]))}"
        return f"{words[0]} {pointed(' '.join(words[1:]))}".strip()

    return re.sub(r'( (?:id|headers)=)"([^"]+)"', lambda m: f'{m.group(1)}"{pointed(m.group(2))}"', html)


def _own(html: str, name: str, caption: str) -> Html:
    """Replace the library's styles and frame by a caption and a labelled section that can be scrolled by keyboard."""
    html = _BLANKS.sub("", _NOISE.sub("", _STYLE.sub("", html)))
    html = _FRAME.sub(lambda m: f'<section class="scroll" id="{m.group(1)}" tabindex="0" '
                                f'aria-labelledby="{name}-cap">', html, count=1)
    html = _plain_ids(html.replace("</div>", "</section>"), name)
    head, mark, rest = html.partition('<table class="gt_table">')
    body = f'{head}{mark}<caption id="{name}-cap">{escape(caption)}</caption>{rest}'
    hidden = tell(HIDDEN)
    body = body.replace(f'class="gt_row gt_right">{hidden}', f'class="gt_row gt_right hid">{hidden}')
    body = _LONG_HEAD.sub(r"\1 long\2", _LONG.sub('class="gt_row long">', body))
    body = _INDENT.sub(lambda m: f'<span class="in{m.group(1)}"></span>', body)
    body = _LINK.sub(lambda m: f'<a class="go" href="{m.group(1)}">{m.group(2)}</a>', body)
    return Html(_BAR.sub(lambda m: bar(float(m.group(1))), body))
