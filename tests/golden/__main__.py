"""Write the golden pages again, after a meant change: `python -m tests.golden`."""

from __future__ import annotations

from tests.golden import golden

for path, text in golden().items():
    path.parent.mkdir(exist_ok=True)
    path.write_text(text, encoding="utf-8")
