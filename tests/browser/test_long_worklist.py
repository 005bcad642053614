"""A worklist of 5,000 rows stays light enough to open, and filter and sort answer at once."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline.report.editions import pages
from pipeline.results import Result, ResultSet
from tests.report import cohorts, made_clients

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.browser
ROWS = 5000
#: Longest wait in ms that a filter or a sort may cost on a slow machine; 100 ms feel like none.
PATIENCE = 600
CHANGE = """([name, value]) => { const box = document.querySelector(name); box.value = value;
  const begun = performance.now(); box.dispatchEvent(new Event('change', {bubbles: true}));
  document.body.offsetHeight; return performance.now() - begun; }"""


def many(count: int) -> list[Result]:
    """The first made client, who is stalled, under many keys, each with an own place, site and slope."""
    first = [r for r in made_clients.rows() if r.group.startswith("key-001")]
    few = [r for r in first if r.statistic not in ("test_value", "fitted", "setting_in", "effort", "weekly_adherence")]
    rows: list[Result] = []
    for place in range(1, count + 1):
        own = {"order": float(place), "slope": (place * 7919 % 1000) / 100 - 5, "site": ("north", "south")[place % 2]}
        for r in first if place <= 75 else few:
            moved = replace(r, group=r.group.replace("key-001", f"key-{place:05d}"))
            told = own.get(r.statistic)
            rows.append(replace(moved, text=told) if isinstance(told, str) else
                        moved if told is None else replace(moved, value=told))
    return rows


@pytest.fixture(scope="module")
def long_list(tmp_path_factory: pytest.TempPathFactory) -> Path:
    page = pages(ResultSet(tuple(many(ROWS))), cohorts.meta("internal"))["stalled.html"]
    path = tmp_path_factory.mktemp("long") / "stalled.html"
    path.write_text(page, encoding="utf-8")
    return path


def test_is_light_and_keeps_everybody(long_list: Path) -> None:
    text = long_list.read_text(encoding="utf-8")
    assert len(text.encode()) < 1_500_000
    assert all(f"key-{place:05d}" in text for place in (1, 40, 41, 2500, ROWS))


def test_filter_and_sort_answer_at_once(browser: Browser, long_list: Path) -> None:
    page = browser.new_page()
    page.goto(long_list.as_uri())
    status, waits = page.locator("[role=status]"), {}
    assert status.inner_text() == f"{ROWS} of {ROWS} match"
    for name, value in (("[data-filter=site]", "north"), ("[data-sort]", "slope"), ("[data-filter=site]", ""),
                        ("[data-sort]", "order")):
        waits[f"{name} {value}"] = page.evaluate(CHANGE, [name, value])
        if value == "slope":
            assert status.inner_text() == f"{ROWS // 2} of {ROWS} match"
            shown = page.locator("table[data-list] tbody tr:visible td:nth-child(6)").all_inner_texts()
            slopes = [float(text.replace("\u2212", "-")) for text in shown]
            assert slopes == sorted(slopes) and slopes[0] < -4 and len(slopes) == 200
    assert page.locator("table[data-list] tbody tr:visible").count() == 200
    page.locator("button.more").click()
    assert page.locator("table[data-list] tbody tr:visible").count() == 400
    page.close()
    assert max(waits.values()) < PATIENCE, waits
