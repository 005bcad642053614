from __future__ import annotations

import datetime as dt
from pathlib import Path

import polars as pl
import pytest

from pipeline.errors import FileRefused
from pipeline.ingest import READERS, read_folder
from pipeline.ingest.csv_file import read_csv
from pipeline.ingest.parquet_file import read_parquet
from pipeline.ingest.raw import Unreadable


def written(folder: Path, name: str, content: bytes) -> Path:
    path = folder / name
    path.write_bytes(content)
    return path


def test_cells_are_text_and_empty_ones_null(tmp_path: Path) -> None:
    content = b"\xef\xbb\xbfclient_key, value ,note\nk1,07,\n\n,x,\"a\nb\"\nk3,1,2\n"
    raw = read_csv(written(tmp_path, "tests.csv", content))
    assert raw.headings == ("client_key", "value", "note")
    assert raw.rows.rows() == [("k1", "07", None, 2), (None, "x", "a\nb", 4), ("k3", "1", "2", 6)]


def test_ragged_undecodable_and_badly_quoted_records_are_set_apart(tmp_path: Path) -> None:
    raw = read_csv(written(tmp_path, "tests.csv", b'a,b\n1,2,3\n1\n\xff\xe9,2\n"x"y,1\n1,\x00\ngood,1\n'))
    assert [(b.line, b.rule) for b in raw.broken] == [
        (2, "tests.row.ragged"), (3, "tests.row.ragged"), (4, "tests.row.undecodable"), (5, "tests.row.quoting"),
        (6, "tests.row.undecodable"),
    ]
    assert raw.rows.rows() == [("good", "1", 7)] and raw.n_read == 6


@pytest.mark.parametrize(
    ("content", "rule"),
    [
        (b"", "tests.file.empty"), (b"\n\n", "tests.file.empty"), (b"a,b,a\n", "tests.heading.twice"),
        (b"a,line_\n", "tests.heading.twice"), (b",,\n1,2,3\n", "tests.file.no_headings"),
        (b"a;b\n1;2\n", "tests.file.delimiter"), ("a,b\n".encode("utf-16"), "tests.file.format"),
        (b"PK\x03\x04xx", "tests.file.format"), (b'"a,b\n', "tests.file.no_headings"), (b"\xff,b\n",
        "tests.file.no_headings"),
    ],
)
def test_a_file_that_is_no_table_is_refused(tmp_path: Path, content: bytes, rule: str) -> None:
    with pytest.raises(Unreadable) as refused:
        read_csv(written(tmp_path, "tests.csv", content))
    assert refused.value.rule == rule and refused.value.exit_code == 3


def test_parquet_gives_the_rows_of_the_same_csv(tmp_path: Path) -> None:
    frame = pl.DataFrame({
        "client_key": ["k1", "k2", ""], "tested_on": [dt.date(2025, 1, 2), None, dt.date(2025, 3, 4)],
        "at": [dt.datetime(2025, 1, 2), dt.datetime(2025, 1, 2, 3, 4, 5), None], "value": [61.5, float("nan"), 7.0],
        "effort_no": [1, None, 3], "acceptable": [True, False, None]})
    frame.write_parquet(tmp_path / "tests.parquet")
    text = ("client_key,tested_on,at,value,effort_no,acceptable\nk1,2025-01-02,2025-01-02,61.5,1,yes\n"
            "k2,,2025-01-02T03:04:05,,,no\n,2025-03-04,,7.0,3,\n")
    by_csv = read_csv(written(tmp_path, "tests.csv", text.encode()))
    by_parquet = read_parquet(tmp_path / "tests.parquet")
    assert by_parquet.rows.equals(by_csv.rows) and by_parquet.headings == by_csv.headings


def test_a_parquet_file_of_lists_or_of_noise_is_refused(tmp_path: Path) -> None:
    pl.DataFrame({"a": [[1, 2]]}).write_parquet(tmp_path / "tests.parquet")
    with pytest.raises(Unreadable, match="more than one value a cell"):
        read_parquet(tmp_path / "tests.parquet")
    with pytest.raises(Unreadable, match="cannot be read as Parquet"):
        read_parquet(written(tmp_path, "clients.parquet", b"PAR1noisePAR1"))


def test_a_folder_is_read_whole_and_every_faulty_file_is_named(tmp_path: Path) -> None:
    for name, content in {"clients.csv": b"", "tests.csv": b"a\n1\n", "sessions.csv": b"a,a\n", "notes.txt": b"x",
                          "pauses.csv": b"a\n", "pauses.parquet": b"x", ".hidden": b""}.items():
        written(tmp_path, name, content)
    intake = read_folder(tmp_path)
    assert [raw.file for raw in intake.files] == ["pauses.csv", "tests.csv"]
    assert [f.where for f in intake.faults] == ["pauses.*", "clients.csv", "pauses.parquet", "sessions.csv:1:2"]
    assert intake.other_files == ("notes.txt",)
    assert "weekly_logs" in intake.absent and "clients" not in intake.absent


def test_a_missing_folder_and_one_without_tables_are_refused(tmp_path: Path) -> None:
    for folder in (tmp_path / "nowhere", tmp_path):
        with pytest.raises(FileRefused):
            read_folder(folder)


def test_readers_are_known_by_suffix() -> None:
    assert set(READERS) >= {".csv", ".parquet"}
