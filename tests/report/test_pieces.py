"""Tables, drawings and look-ups, each alone."""

from __future__ import annotations

import json
import re

import altair
import pytest

from pipeline.report import charts, svg, tables
from pipeline.report.chart_style import Rule, Rung, Spot, Words, domain, ticks
from pipeline.report.look import parts_of
from pipeline.report.views import Table

HOSTILE = ("<script>alert(1)</script>", "<img src=x onerror=alert(1)>")
WORDS = Words("c", "A <claim>", "What & how")
SPOTS = [Spot(w, None if w == 8 else w / 2, w / 2 - 1, w / 2 + 1, f"week {w}", "MIP") for w in (0, 4, 8, 12)]


def hostile(text: str) -> Table:
    return tables.table("t-x", text, [tables.Column(text), tables.Column(text), tables.Column(text, False)],
                        [[text, text, text]], [text])


@pytest.mark.parametrize("text", HOSTILE)
def test_tables_escape_every_path(text: str) -> None:
    html = hostile(text).html
    assert "<script" not in html and "<img" not in html
    assert html.count("&lt;") >= 6


def test_table_ids_are_the_tables_own_and_headers_point_at_them() -> None:
    html = tables.table("t-y", "Caption", [tables.Column("A name"), tables.Column("Two words")], [["a b", "1"]]).html
    ids = re.findall(r' id="([^"]+)"', html)
    assert len(ids) == len(set(ids)) and all(i.startswith("t-y") and " " not in i for i in ids)
    assert {h for text in re.findall(r'headers="([^"]+)"', html) for h in text.split()} <= set(ids)
    assert "<style" not in html


def test_a_cleaned_drawing_is_named_and_has_only_its_own_ids() -> None:
    wide, narrow = (charts.curve(WORDS, SPOTS, unit="cmH2O", x_title="Week").split('<div class="narrow">'))
    for prefix, drawing in (("c-w", wide), ("c-n", narrow)):
        ids = re.findall(r'id="([^"]+)"', drawing)
        assert ids and all(i.startswith(prefix) for i in ids)
        assert set(re.findall(r"url\(#([^)]+)\)", drawing)) <= set(ids)
    assert "A &lt;claim&gt;" in wide and "What &amp; how" in wide


def test_what_the_chart_engine_is_given_keeps_to_its_schema(monkeypatch: pytest.MonkeyPatch) -> None:
    """The specs are put together unchecked, which is fast; here one of each kind is checked."""
    given: list[dict[str, object]] = []

    def kept(spec: str, decimal: str) -> str:
        given.append(json.loads(spec))
        return '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"/>'

    monkeypatch.setattr(charts, "_svg", kept)
    rules = [Rule(1, "full"), Rule(0, "", True)]
    charts.curve(WORDS, SPOTS, unit="cmH2O", x_title="Week", rules=rules, band=(-1, 1))
    charts.stack(WORDS, [("0", "in", 40.0, "t"), ("0", "out", 60.0, "t")], ["in", "out"], ["red", "blue"], unit="%",
                 x_title="Week")
    charts.dots(WORDS, [-3.0, 1.0, 2.0, 9.0], x_title="cmH2O", band=(-2, 2), share_each="a quarter")
    assert len(given) == 6
    for spec in given:
        altair.LayerChart.from_dict(spec, validate=True)
    with pytest.raises(Exception, match="bogus"):
        altair.LayerChart.from_dict({**given[0], "autosize": {"bogus": 1}}, validate=True)


def test_only_our_own_point_texts_are_published() -> None:
    drawing = charts.curve(WORDS, SPOTS, unit="cmH2O", x_title="Week")
    assert "<title>week 4</title>" in drawing and "aria-label=" not in drawing
    assert not re.search(r"\d\.\d{2,}", drawing)


def test_a_gap_is_not_drawn() -> None:
    with_gap = charts.curve(WORDS, SPOTS, unit="cmH2O", x_title="Week")
    assert "<title>week 8</title>" not in with_gap


def test_colours_follow_the_page() -> None:
    drawing = charts.ladder(WORDS, [Rung("a", 1.0, 0.5, 1.5, text="1.0")], x_title="cmH2O")
    assert "var(--c1,#0072B2)" in drawing and 'fill="#000' not in drawing


def test_two_processes_would_number_alike() -> None:
    raw = ('<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><clipPath id="clip{0}"/>'
           '<g clip-path="url(#clip{0})"><path d="M0,0L1.234,5"/></g></svg>')
    one, two = (svg.clean(raw.replace("{0}", n), name="k", title="t", desc="d") for n in ("1", "77"))
    assert one == two and "1.2,5" in one


@pytest.mark.parametrize(("low", "high", "most", "want"), [
    (0, 100, 6, [0, 20, 40, 60, 80, 100]), (-3, 12, 6, [-5, 0, 5, 10, 15]), (0, 1, 5, [0, 0.5, 1.0])])
def test_ticks_are_round_and_cover(low: float, high: float, most: int, want: list[float]) -> None:
    assert ticks(low, high, most) == want


def test_domain_of_nothing_is_still_an_axis() -> None:
    assert domain([None]) == ([0.0, 1.0], [0.0, 1.0])


def test_parts_of_a_group() -> None:
    assert parts_of("abc-123;pressure=mip") == {"key": "abc-123", "pressure": "mip"}
    assert parts_of("all") == {"key": "all"}


def test_a_sparkline_needs_two_values_and_keeps_gaps() -> None:
    assert svg.sparkline([1.0, None], "label") == ""
    assert svg.sparkline([1.0, 2.0, None, 3.0, 4.0], "label").count("<path") == 2
