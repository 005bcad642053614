"""Pictures of pages at desktop and phone width: `python -m tests.browser.pictures OUT [PAGES]`.

PAGES is a folder of pages; without it, those of the sample that `make demo` writes (out/internal).
"""

from __future__ import annotations

import sys
from pathlib import Path

from tests.browser.opened import opened

WIDTHS = {"desktop": (1280, 1000), "phone": (390, 844)}


def take(pages: Path, out: Path) -> list[Path]:
    """Write a PNG of the first screen of each page in both widths; return what was written."""
    out.mkdir(parents=True, exist_ok=True)
    taken = []
    with opened() as browser:
        for page in sorted(pages.glob("*.html")):
            for kind, (width, height) in WIDTHS.items():
                sheet = browser.new_page(viewport={"width": width, "height": height})
                sheet.goto(page.resolve().as_uri())
                _open_first_card(sheet)
                target = out / f"{page.stem}-{kind}.png"
                sheet.screenshot(path=str(target))
                sheet.close()
                taken.append(target)
    return taken


def _open_first_card(sheet: object) -> None:
    """On the list of clients, show the first one unfolded: that is what the page is for."""
    sheet.evaluate(  # type: ignore[attr-defined]
        "() => { const card = document.querySelector('.card details'); if (!card) return;"
        " card.open = true; document.querySelector('.controls').scrollIntoView({behavior: 'instant'}); }"
    )


if __name__ == "__main__":
    take(Path(sys.argv[2] if len(sys.argv) > 2 else "out/internal"), Path(sys.argv[1]))
