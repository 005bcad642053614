"""Records over several lines, so that they meet the edges of small buffers: none lost, split or misnumbered."""

from __future__ import annotations

import random
from pathlib import Path

import polars as pl
import pytest

from tests.validate.scans import by_database, same, walked

HEADINGS = "client_key,session_on,slot,breaths_done,note"


def written(path: Path, line_break: str, n: int, chance: random.Random) -> list[int]:
    """Write `n` sessions, some with a note of several lines; return the line on which each begins."""
    line, lines, parts = 2, [], [HEADINGS]
    for k in range(n):
        note = line_break.join("x" * chance.randrange(30) + '""' for _ in range(chance.choice((1, 1, 1, 2, 3))))
        lines.append(line)
        parts.append(f'k{k:011d},2025-01-{1 + k % 28:02d},am,{k % 500},"{note}"')
        line += 1 + note.count("\n")
    path.write_bytes((line_break.join(parts) + line_break).encode())
    return lines


@pytest.mark.parametrize("line_break", ["\n", "\r\n"])
@pytest.mark.parametrize("buffer_bytes", [1024, 2048, 8_000_000])
def test_none_is_lost_split_or_misnumbered(tmp_path: Path, line_break: str, buffer_bytes: int) -> None:
    path = tmp_path / "sessions.csv"
    lines = written(path, line_break, 2000, random.Random(buffer_bytes))
    found, how = by_database(path, buffer_bytes=buffer_bytes)
    kept = found[1]
    assert how == "line_" and kept["line"].to_list() == lines
    assert kept["client_key"].equals(pl.Series("client_key", [f"k{k:011d}" for k in range(2000)]))
    assert same(walked(path), found)
