"""Pages in a real browser: no console error, no request leaving the file, no sideways scroll, no clipped text."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser
PAGES = ("internal/index", "internal/quarter", "internal/protocols", "internal/stalled", "shared/index",
         "shared/quarter", "shared/protocols", "tiny/quarter", "tiny/stalled")
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


@pytest.mark.parametrize("width", [390, 768, 1280])
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
        assert page.locator("[role=status]").inner_text() == "4 of 12 shown"
        page.select_option("[data-filter=state]", "")
        page.select_option("[data-sort]", "slope")
        assert page.locator(".card").first.get_attribute("data-state") == "falling"
        page.locator(".card summary").first.focus()
        page.keyboard.press("Enter")
        assert page.locator(".card").first.locator("svg.panels").is_visible()
        assert trouble == []


def test_nothing_is_lost_without_scripts(browser: Browser, folder: Path) -> None:
    with page_at(browser, folder / "internal/stalled.html", java_script_enabled=False) as (page, _):
        assert page.locator(".card").count() == 12
        assert not page.locator(".controls").is_visible()
        page.locator(".card summary").first.click()
        assert page.locator("svg.panels").first.is_visible()


def test_hostile_markup_is_stopped_by_the_page_itself(browser: Browser, folder: Path, tmp_path: Path) -> None:
    text = (folder / "internal/index.html").read_text(encoding="utf-8")
    bad = tmp_path / "bad.html"
    bad.write_text(text.replace("</main>", "<script>document.title = 'taken'</script></main>"), encoding="utf-8")
    with page_at(browser, bad) as (page, _):
        assert page.title() != "taken"


def test_prints_with_page_numbers_and_the_class(browser: Browser, folder: Path) -> None:
    with page_at(browser, folder / "internal/quarter.html") as (page, _):
        assert page.pdf(prefer_css_page_size=True)[:5] == b"%PDF-"
        page.emulate_media(media="print", color_scheme="dark")
        assert page.evaluate("getComputedStyle(document.documentElement).backgroundColor") == "rgb(255, 255, 255)"
        assert not page.locator(".contents").is_visible()


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
