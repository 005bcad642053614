"""The table of a study as text."""

from __future__ import annotations

import polars as pl


def as_text(frame: pl.DataFrame) -> str:
    """A frame as a table of a text file; null is an empty cell."""
    lines = ["| " + " | ".join(frame.columns) + " |", "|" + "---|" * frame.width]
    return "\n".join(
        [*lines, *("| " + " | ".join("" if v is None else str(v) for v in row) + " |" for row in frame.iter_rows())]
    )
