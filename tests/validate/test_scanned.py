"""A large file is judged in the database: the same rows, lines, rules and counts as by the walk."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from pipeline.contract import TABLES
from pipeline.errors import FileRefused
from pipeline.ingest.csv_file import read_csv
from pipeline.settings import Settings
from pipeline.store import open_store
from pipeline.validate import scanned
from tests.contract.mutated import text_rows
from tests.validate.folder import KEY
from tests.validate.scans import by_database, identities, same, walked

SAMPLE = Path(__file__).parents[2] / "sample_data"
HEADINGS = "client_key,session_on,slot,breaths_done"


def mutated(folder: Path, table: str, line_break: str = "\n", *, n: int = 3000) -> Path:
    """Write mutated rows (some of them twice) as CSV; cells with line breaks are quoted."""
    frame = text_rows(TABLES[table], n, odd_share=0.02)
    rows = [list(row.values()) for row in frame.drop("line_").iter_rows(named=True)]
    path = folder / f"{table}.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator=line_break)
        writer.writerow(TABLES[table].column_names)
        writer.writerows([*rows, *rows[::50]])
    return path


@pytest.mark.parametrize("table", TABLES)
def test_the_sample_is_judged_alike(table: str) -> None:
    path = SAMPLE / f"{table}.csv"
    found, line = by_database(path)
    assert same(walked(path), found) and line == "(rowid + 2)"


@pytest.mark.parametrize("line_break", ["\n", pytest.param("\r\n", marks=pytest.mark.slow)])
@pytest.mark.parametrize("table", TABLES)
def test_mutated_files_are_judged_alike(tmp_path: Path, table: str, line_break: str) -> None:
    path = mutated(tmp_path, table, line_break)
    found, line = by_database(path)
    assert same(walked(path), found) and found[2].height > 100 and line == "line_"  # it holds quoted line breaks
    text = path.read_bytes().replace(b'"a\nb"', b'"ab"').replace(b'"2024-01-01\n"', b"x").replace(b'"7\n"', b"7")
    path.write_bytes(text)
    found, line = by_database(path)
    assert same(walked(path), found) and line == "(rowid + 2)"
    assert same(found, by_database(path, buffer_bytes=4096)[0])  # the reader may err at the edges of small buffers


@pytest.mark.parametrize(
    ("body", "is_walked"),
    [
        (f"{KEY},2025-01-06,am,20\n{KEY},2025-01-07,am,20", False),  # no line break at the end
        (f'"{KEY}","2025-01-06","am","2""0"\n{KEY},2025-01-07,am,20\n', False),
        (f'{KEY},2025-01-06,am,"2\n0"\n{KEY},2025-01-07,am,20\n', True),
        (f"{KEY},2025-01-06,am,20\n\n{KEY},2025-01-07,am,20\n", True),  # a blank line
        (f"{KEY},2025-01-06,am\n{KEY},2025-01-07,am,20\n", True),  # ragged
        (f"{KEY},2025-01-06,am,20\n{KEY},2025-01-07,am,2\udcff\n", True),  # not UTF-8
        (f"{KEY},2025-01-06,am,20\n{KEY},2025-01-07,am,2\0\n", True),
        (f'{KEY},2025-01-06,am,20\n"{KEY},2025-01-07,am,20\n', True),  # a mark that is never closed
        (f'{KEY},2025-01-06,am,20\n{KEY},2025-01-07,"am"x,20\n{KEY},2025-01-08,am,20\n', True),
        (f"{KEY},2025-01-06,am,20,\n{KEY},2025-01-07,am,20\n", True),  # one empty cell too many: the database takes it
        (f"{KEY},2025-01-06,am,20\r{KEY},2025-01-07,am,20\r\n", True),  # ends of two kinds
        ("", False),
    ],
)
def test_what_the_survey_cannot_prove_is_walked(tmp_path: Path, body: str, is_walked: bool) -> None:
    path = tmp_path / "sessions.csv"
    path.write_bytes((f"{HEADINGS}\n{body}").encode("utf-8", "surrogateescape"))
    found, line = by_database(path)
    assert same(walked(path), found) and (line == "line_") == is_walked


def test_headings_after_a_blank_line_are_headings(tmp_path: Path) -> None:
    path = tmp_path / "sessions.csv"
    path.write_text(f"\n{HEADINGS}\n{KEY},2025-01-06,am,20\n", encoding="utf-8")
    found, line = by_database(path)
    assert same(walked(path), found) and line == "line_" and found[1]["line"].to_list() == [3]


def test_repeats_conflicts_and_ordinals_are_alike(tmp_path: Path) -> None:
    rows = [f"{KEY},2025-01-06,am,20", f"{KEY},2025-01-06,am,20", f"{KEY},2025-01-06,pm,20", f"{KEY},2025-01-06,pm,21",
            f"{KEY},2025-01-07,,20", f"{KEY},2025-01-07,,20", f"{KEY},2025-01-08,am,20"]
    (tmp_path / "sessions.csv").write_text("\n".join([HEADINGS, *rows]), encoding="utf-8")
    found, _ = by_database(tmp_path / "sessions.csv")
    assert same(walked(tmp_path / "sessions.csv"), found)
    assert found[1].select("line", "ordinal").rows() == [(2, 0), (6, 1), (7, 2), (8, 0)]


def test_identifiers_are_found_alike_with_the_same_counts(tmp_path: Path) -> None:
    lines = [f"{HEADINGS},patient_name,note", *(f"{KEY},2025-01-0{d},am,20,Maria Sanchez,x" for d in range(1, 9)),
             f"{KEY},2025-01-09,m@example.org,20,,y", f"{KEY},2025-01-10,am,020 7946 0958,,m@example.org"]
    (tmp_path / "sessions.csv").write_text("\n".join(lines), encoding="utf-8")
    by_walk, found = identities(tmp_path / "sessions.csv")
    assert by_walk == found and len(found) == 5 and "name, 8 cells" in "".join(found)


def test_a_file_that_changes_while_it_is_read_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "sessions.csv"
    path.write_text(f"{HEADINGS}\n{KEY},2025-01-06,am,20\n", encoding="utf-8")
    raw = read_csv(path, scan_from_bytes=0)
    path.write_text(f"{HEADINGS}\n{KEY},2025-01-06,am,20\n{KEY},2025-01-07,am,20\n", encoding="utf-8")
    with open_store(":memory:") as store, pytest.raises(FileRefused, match="written to while it was read"):
        scanned.scan(store, raw)


def test_nothing_stays_beside_the_store(tmp_path: Path) -> None:
    raw = read_csv(SAMPLE / "sessions.csv", scan_from_bytes=0)
    with open_store(tmp_path / "store.duckdb") as store:
        scanned.scan(store, raw)
        assert (tmp_path / "store.duckdb.next.scan").exists()
    assert not [p for p in tmp_path.iterdir() if "scan" in p.name or "spill" in p.name]
    assert Settings().set_aside_max_pct < 100
