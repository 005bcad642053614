"""Pages say what they said when somebody last looked; `make golden` writes them again after a meant change."""

from __future__ import annotations

import difflib

from tests.golden import HERE, golden


def test_pages_read_as_kept() -> None:
    changed = []
    for path, text in golden().items():
        kept = path.read_text(encoding="utf-8") if path.exists() else ""
        changed += list(difflib.unified_diff(kept.splitlines(), text.splitlines(), path.name, "now", n=0, lineterm=""))
    assert changed[:40] == []


def test_nothing_is_kept_of_pages_that_are_gone() -> None:
    assert set(HERE.glob("*/*.txt")) == set(golden())
