"""Starts the Chromium that is there; without one, says so in one plain sentence."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from tests.browser.chromium import find

if TYPE_CHECKING:
    from playwright.sync_api import Browser

FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
ABSENT = "No Chromium is installed, so the pages were not opened in a browser."


@contextmanager
def opened() -> Iterator[Browser]:
    """Start the browser and close it; RuntimeError with one plain sentence when there is none."""
    path = find()
    if path is None:
        raise RuntimeError(ABSENT)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=path, args=FLAGS)
        try:
            yield browser
        finally:
            browser.close()
