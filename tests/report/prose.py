"""A page as prose: one line a heading, sentence, cell row or drawn text, so that a changed page reads as a diff."""

from __future__ import annotations

from html.parser import HTMLParser

BREAKS = {"p", "li", "h1", "h2", "h3", "tr", "figure", "figcaption", "caption", "summary", "dt", "dd", "title", "desc",
          "text", "section", "div", "span", "a", "label", "option"}
SILENT = {"style", "script"}


class _Prose(HTMLParser):
    def __init__(self, with_drawings: bool) -> None:
        super().__init__()
        self.lines: list[str] = [""]
        self.silent = 0
        self.drawing = 0
        self.with_drawings = with_drawings

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.silent += tag in SILENT
        self.drawing += tag == "svg"
        if tag in BREAKS:
            self.lines.append("")
        if tag in ("td", "th") and self.lines[-1]:
            self.lines[-1] += " | "
        if tag in ("h1", "h2", "h3"):
            self.lines[-1] = "#" * int(tag[1]) + " "

    def handle_endtag(self, tag: str) -> None:
        self.silent -= tag in SILENT
        self.drawing -= tag == "svg"
        if tag in BREAKS:
            self.lines.append("")

    def handle_data(self, data: str) -> None:
        if not self.silent and (self.with_drawings or not self.drawing):
            self.lines[-1] += " ".join(data.split(" ")).replace("\n", " ")


def lines(page: str, *, with_drawings: bool = True) -> list[str]:
    """Return the lines of a page, in order, without empty ones."""
    prose = _Prose(with_drawings)
    prose.feed(page)
    return [kept for line in prose.lines if (kept := line.strip())]
