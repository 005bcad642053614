"""Every page by the rules of axe-core: no violation, wide and narrow, light and dark; the rules run are kept beside."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.browser import axe

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = [pytest.mark.browser, pytest.mark.slow]
RULES = Path(__file__).with_name("axe_rules.txt")
WIDTHS, SCHEMES = (1280, 390), ("light", "dark")
#: The rules that look at colours; what all others look at is the same in the dark.
COLOURED = ("color-contrast", "link-in-text-block")
RUN = """async ([type, values]) => { const found = await axe.run(document, {runOnly: {type, values},
  resultTypes: ['violations']}); return found.violations.map(v => v.id + ': ' +
  v.nodes.slice(0, 3).map(n => n.target.join(' ') + ' (' + (n.any[0] || n.all[0] || n.none[0] || {}).message + ')')
  .join(' | ') + ' of ' + v.nodes.length); }"""


@pytest.fixture(scope="module")
def sheet(browser: Browser) -> Iterator[Page]:
    """One page for all, so that the browser starts once and the rules are read once a page."""
    if axe.find() is None and not axe.fetch():
        pytest.skip(axe.ABSENT)
    context = browser.new_context(bypass_csp=True)  # the page's own policy would stop the rules
    context.add_init_script(axe.find() or "")
    yield context.new_page()
    context.close()


def faults(sheet: Page, page: Path) -> list[str]:
    """Break of the rules by width and scheme, every fold opened: one line a rule; in the dark those on colours."""
    sheet.goto(page.as_uri())
    sheet.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    found = []
    for width in WIDTHS:
        sheet.set_viewport_size({"width": width, "height": 900})
        for scheme in SCHEMES:
            sheet.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            where = f"{page.parent.name}/{page.name}, {width} px, {scheme}"
            asked = ["tag", list(axe.TAGS)] if scheme == "light" else ["rule", list(COLOURED)]
            found += [f"{where}: {broken}" for broken in sheet.evaluate(RUN, asked)]
    return found


def test_no_rule_is_broken_on_any_page(sheet: Page, folder: Path) -> None:
    german = ("quarter", "for_funder")
    pages = sorted(p for p in folder.glob("*/*.html") if p.parent.name != "german" or p.stem in german)
    assert len(pages) > 8
    assert [broken for p in pages for broken in faults(sheet, p)][:8] == []


def test_a_planted_fault_is_found(sheet: Page, folder: Path, tmp_path: Path) -> None:
    text = (folder / "internal/index.html").read_text(encoding="utf-8")
    bad = tmp_path / "bad.html"
    bad.write_text(text.replace("</main>", '<img src="data:,"><p style="color:#ddd;background:#fff">pale</p></main>'),
                   encoding="utf-8")
    said = str(faults(sheet, bad))
    assert "image-alt" in said and "color-contrast" in said


def test_the_rules_run_are_those_listed(sheet: Page, folder: Path) -> None:
    sheet.goto((folder / "internal/index.html").as_uri())
    rules = sheet.evaluate("tags => axe.getRules(tags).map(r => r.ruleId + ': ' + r.help).sort()", list(axe.TAGS))
    head = [f"Rules of axe-core {axe.VERSION} run on every page, tags {', '.join(axe.TAGS)}.", ""]
    assert RULES.read_text(encoding="utf-8").splitlines() == [*head, *rules]
