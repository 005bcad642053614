"""The walk over CSV records: RFC 4180, section 2, and what happens where a file breaks it."""

from __future__ import annotations

import csv
import io
import random

import pytest

from pipeline.ingest.csv_file import records


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("a,b\r\nc,d\r\n", [(1, ["a", "b"]), (2, ["c", "d"])]),  # rule 1
        ("a,b\r\nc,d", [(1, ["a", "b"]), (2, ["c", "d"])]),  # rule 2: the last record may lack its line break
        ('"a","b"\r\nc,d', [(1, ["a", "b"]), (2, ["c", "d"])]),  # rule 5
        ('a,"b\r\nc",d\r\ne,f,g', [(1, ["a", "b\r\nc", "d"]), (3, ["e", "f", "g"])]),  # rule 6: breaks inside quotes
        ('"a","b""c"', [(1, ["a", 'b"c'])]),  # rule 7: a doubled mark is one mark
        ("a,\nb,c", [(1, ["a", ""]), (2, ["b", "c"])]),
        ("a\rb\r", [(1, ["a"]), (2, ["b"])]),
        ("a\n\n\nb", [(1, ["a"]), (4, ["b"])]),  # blank lines are no records, and are counted as lines
    ],
)
def test_records_and_their_lines(text: str, expected: list[tuple[int, list[str]]]) -> None:
    assert list(records(text)) == expected


@pytest.mark.parametrize(
    ("text", "broken_lines"),
    [
        ('a,b\n"c"x,d\ne,f\n', [2]),
        ('a,b\n"c,d\ne,f\n', [2]),  # never closed: one line lost, not the rest of the file
        ('a,b\n"c,d\ne,f\n"g"h,i\nj,k', [2, 4]),
    ],
)
def test_broken_quoting_costs_its_line_only(text: str, broken_lines: list[int]) -> None:
    found = list(records(text))
    assert [line for line, record in found if record is None] == broken_lines
    assert [line for line, _ in found] == list(range(1, len(text.splitlines()) + 1))


@pytest.mark.parametrize("line_break", ["\n", "\r\n"])
def test_lines_of_written_files_are_exact(line_break: str) -> None:
    """Write random cells with quoted line breaks; each record's line is 1 + the line breaks written before it."""
    chance = random.Random(line_break)
    cells = ["", "x", "a,b", 'q"q', f"two{line_break}lines", f"three{line_break}{line_break}lines"]
    rows = [[chance.choice(cells), str(k), chance.choice(cells)] for k in range(500)]
    out, expected = io.StringIO(), []
    writer = csv.writer(out, lineterminator=line_break)
    for row in rows:
        expected.append((1 + out.getvalue().count("\n"), row))
        writer.writerow(row)
    assert list(records(out.getvalue())) == expected
