"""Pages in a real browser: no console error, no request leaving the file, no sideways scroll, no clipped text."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from pipeline.report.views import ONE_PAGE

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser
#: Editions of one side: full, small, suppressed and German.
ONE_SIDE = tuple(f"{place}/{name}" for place in ("given", "small", "shared", "german") for name in ONE_PAGE)
PAGES = ("internal/index", "internal/quarter", "internal/protocols", "internal/stalled", "internal/sites",
         "internal/fix_list", "shared/index", "shared/quarter", "shared/protocols", "tiny/quarter", "tiny/stalled",
         "tiny/fix_list", "german/quarter", "german/protocols", "german/stalled", "sums/index",
         "sums/protocols", *ONE_SIDE)
#: Pages whose longer tests are among the fast ones; those of the other editions are made of the same parts.
QUICK = ("internal/quarter", "internal/stalled")
#: Texts that stick out of their drawing, or lie on each other by more than a few px, wide drawing or narrow.
CLIPPED = """() => { const bad = []; for (const svg of document.querySelectorAll('svg[role=img]')) {
  const frame = svg.getBoundingClientRect(); if (!frame.width) continue;
  const texts = [...svg.querySelectorAll('text')].filter(t => t.textContent.trim());
  const boxes = texts.map(t => t.getBoundingClientRect());
  boxes.forEach((b, i) => {
    if (b.left < frame.left - 2 || b.right > frame.right + 2 || b.top < frame.top - 2 || b.bottom > frame.bottom + 2)
      bad.push('cut: ' + texts[i].textContent);
    for (let j = 0; j < i; j++) { const a = boxes[j];
      if (Math.min(a.right, b.right) - Math.max(a.left, b.left) > 3 &&
          Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 5)
        bad.push('over: ' + texts[j].textContent + ' / ' + texts[i].textContent); } }); } return bad; }"""


@contextmanager
def page_at(browser: Browser, path: Path, width: int = 1280, **options: Any) -> Iterator[tuple[Page, list[str]]]:
    context = browser.new_context(viewport={"width": width, "height": 900}, **options)
    page, trouble = context.new_page(), []
    page.on("console", lambda m: trouble.append(m.text))
    page.on("pageerror", lambda e: trouble.append(str(e)))
    page.on("request", lambda r: None if r.url == path.as_uri() else trouble.append(r.url))
    page.goto(path.as_uri())
    yield page, trouble
    context.close()


@pytest.mark.parametrize("width", [390, pytest.param(768, marks=pytest.mark.slow), 1280])
@pytest.mark.parametrize("name", PAGES)
def test_opens_quietly_and_fits(browser: Browser, folder: Path, name: str, width: int) -> None:
    with page_at(browser, folder / f"{name}.html", width) as (page, trouble):
        page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate(CLIPPED) == []
        assert trouble == []


def test_every_chart_shows_one_of_its_two_drawings(browser: Browser, folder: Path) -> None:
    for width, shown in ((1280, "wide"), (390, "narrow")):
        with page_at(browser, folder / "internal/quarter.html", width) as (page, _):
            figures = page.locator("figure").count()
            assert page.locator(f"figure > .{shown} > svg:visible").count() == figures > 8
            assert page.locator("figure svg[role=img]:visible").count() == figures


def test_filter_sort_and_fold_by_keyboard(browser: Browser, folder: Path) -> None:
    with page_at(browser, folder / "internal/stalled.html") as (page, trouble):
        page.focus("[data-filter=state]")
        page.keyboard.type("falling")
        page.locator("[data-filter=state]").dispatch_event("change")
        assert page.locator(".card:visible").count() == 4
        assert page.locator("[role=status]").inner_text() == "4 of 12 match"
        page.select_option("[data-filter=state]", "")
        page.select_option("[data-sort]", "slope")
        assert page.locator(".card").first.get_attribute("data-state") == "falling"
        page.focus("[data-sort]")
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.tagName") == "SUMMARY"
        page.keyboard.press("Enter")
        assert page.locator(".card").first.locator("svg.panels").is_visible()
        page.keyboard.press("ArrowDown")
        assert page.evaluate("document.activeElement.closest('.card') === document.querySelectorAll('.card')[1]")
        page.keyboard.press("ArrowUp")
        page.keyboard.press("Enter")
        assert not page.locator(".card").first.locator("svg.panels").is_visible()
        assert trouble == []


def test_every_row_of_the_list_can_be_reached_by_tab(browser: Browser, folder: Path) -> None:
    with page_at(browser, folder / "internal/stalled.html") as (page, _):
        page.focus("[data-sort]")
        seen = []
        for _ in range(page.locator(".card").count()):
            page.keyboard.press("Tab")
            seen.append(page.evaluate("[...document.querySelectorAll('.card')].indexOf("
                                      "document.activeElement.closest('.card'))"))
        assert seen == list(range(12))


@pytest.mark.parametrize("name", [pytest.param(p, marks=[] if p in QUICK else pytest.mark.slow) for p in PAGES])
def test_nothing_is_lost_without_scripts(browser: Browser, folder: Path, name: str) -> None:
    """The same words, folds opened by a click on their summary; only the filter is not there."""
    said = []
    for with_scripts in (True, False):
        with page_at(browser, folder / f"{name}.html", java_script_enabled=with_scripts) as (page, _):
            for fold in page.locator("summary").all():
                if fold.is_visible():
                    fold.click()
            assert page.locator("details:not([open])").count() == 0
            assert page.locator(".controls:visible").count() == (with_scripts and name.endswith("stalled")
                                                                 and not name.startswith("tiny"))
            said.append(page.locator("main > section > :not(form)").all_inner_texts())
            assert page.locator("figure svg[role=img]:visible").count() == page.locator("figure").count()
    assert said[0] == said[1] and said[0]


def test_hostile_markup_is_stopped_by_the_page_itself(browser: Browser, folder: Path, tmp_path: Path) -> None:
    text = (folder / "internal/index.html").read_text(encoding="utf-8")
    bad = tmp_path / "bad.html"
    bad.write_text(text.replace("</main>", "<script>document.title = 'taken'</script></main>"), encoding="utf-8")
    with page_at(browser, bad) as (page, _):
        assert page.title() != "taken"


HAS_FACE = """() => { const width = face => { const probe = document.body.appendChild(document.createElement('b'));
  probe.style.cssText = 'position:absolute;font-family:' + face; probe.textContent = 'mmmm111';
  const found = probe.getBoundingClientRect().width; probe.remove(); return found; };
  return width("'DejaVu Sans',monospace") !== width("monospace"); }"""
WIDE_FACE = "svg text{font-family:'DejaVu Sans'!important}"


@pytest.mark.parametrize("name", ["internal/quarter", "internal/protocols", "internal/stalled"])
def test_no_text_is_cut_in_a_wider_face(browser: Browser, folder: Path, name: str) -> None:
    for width in (390, 768, 1280):
        with page_at(browser, folder / f"{name}.html", width) as (page, _):
            page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
            page.add_style_tag(content=WIDE_FACE)
            if not page.evaluate(HAS_FACE):
                pytest.skip("The wide face DejaVu Sans is not installed here.")
            assert page.evaluate(CLIPPED) == [], width


#: Sheets: width and height in mm; the page's own margins leave 28 mm less in width and 34 mm less in height.
SHEETS = {"A4": (210, 297), "Letter": (215.9, 279.4)}


def sides(pdf: bytes) -> int:
    """Count the sides of a PDF by its page objects."""
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


@pytest.mark.parametrize("sheet", SHEETS)
@pytest.mark.parametrize("name", ["internal/quarter", "internal/protocols", "internal/stalled", "shared/quarter"])
def test_prints_whole_charts_on_numbered_sides(browser: Browser, folder: Path, name: str, sheet: str) -> None:
    across, down = ((side - margin) * 96 / 25.4 for side, margin in zip(SHEETS[sheet], (28, 34), strict=True))
    with page_at(browser, folder / f"{name}.html", int(across)) as (page, _):
        page.emulate_media(media="print", color_scheme="dark")
        assert page.evaluate("getComputedStyle(document.documentElement).backgroundColor") == "rgb(255, 255, 255)"
        assert not page.locator(".contents, .controls").locator("visible=true").count()
        assert page.evaluate("document.documentElement.scrollWidth") <= int(across) + 1
        assert page.evaluate(CLIPPED) == []
        tall = page.evaluate("[...document.querySelectorAll('figure, .card')].map(f => f.offsetHeight)")
        assert tall and max(tall) <= down
        pdf = page.pdf(format=sheet, prefer_css_page_size=True)
        assert pdf[:5] == b"%PDF-" and 3 <= sides(pdf) <= 40


@pytest.mark.parametrize("sheet", SHEETS)
@pytest.mark.parametrize("name", ONE_SIDE)
def test_an_edition_for_one_reader_prints_on_one_side(browser: Browser, folder: Path, name: str, sheet: str) -> None:
    """Also 3 % larger: a reader's machine may put another face in place of ours."""
    with page_at(browser, folder / f"{name}.html") as (page, _):
        for scale in (1.0, 1.03):
            assert sides(page.pdf(format=sheet, prefer_css_page_size=True, scale=scale)) == 1, scale


@pytest.mark.parametrize("sheet", SHEETS)
@pytest.mark.parametrize("with_scripts", [True, False])
def test_the_worklist_prints_one_client_a_side(
    browser: Browser, folder: Path, sheet: str, with_scripts: bool
) -> None:
    counts = []
    for taken in (0, 1, 5):
        with page_at(browser, folder / "internal/stalled.html") as (page, _):
            page.evaluate("n => [...document.querySelectorAll('.card')].slice(0, n).forEach(c => c.remove())", taken)
            counts.append(sides(page.pdf(format=sheet, prefer_css_page_size=True)))
    assert (counts[0] - counts[1], counts[0] - counts[2]) == (1, 5)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_contrast(browser: Browser, folder: Path, scheme: str) -> None:
    ratio = """(names) => { const probe = document.body.appendChild(document.createElement('i'));
      const light = n => { probe.style.color = 'var(--' + n + ')';
        const c = getComputedStyle(probe).color.match(/\\d+/g).slice(0, 3).map(v => v / 255)
          .map(v => v <= .04045 ? v / 12.92 : ((v + .055) / 1.055) ** 2.4);
        return .2126 * c[0] + .7152 * c[1] + .0722 * c[2]; };
      return names.map(([a, b]) => { const [x, y] = [light(a), light(b)].sort((p, q) => q - p);
        return (x + .05) / (y + .05); }); }"""
    pairs = [[a, b] for a in ("ink", "muted", "c1", "c2", "mark") for b in ("paper", "wash")]
    with page_at(browser, folder / "internal/index.html", color_scheme=scheme) as (page, _):
        assert min(page.evaluate(ratio, pairs)) >= 4.5
