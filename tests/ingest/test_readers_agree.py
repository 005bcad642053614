"""Every reader gives the same rows from the same data."""

from __future__ import annotations

import gzip
import json
from pathlib import Path

import polars as pl
import pyarrow as pa
import pytest

from pipeline.ingest import READERS, read_folder
from pipeline.ingest.workbook_out import Sheet, write_workbook

TABLE = "other_outcomes"
HEADINGS = ("client_key", "measured_on", "measure", "value", "Größe")
ROWS = [("kq7mzx2a", "2025-01-06", "mmrc_grade", "2", "é, ü; x"), ("w9trcb4e", "2025-02-03", None, "61.5", None),
        ("w9trcb4e", None, "six_minute_walk_m", "377", 'he said "no"'), (None, None, None, "0.25", None)]


def text(delimiter: str) -> str:
    def cell(value: str | None) -> str:
        return "" if value is None else '"' + value.replace('"', '""') + '"'
    return "".join(delimiter.join(map(cell, row)) + "\r\n" for row in (HEADINGS, *ROWS))


def zstd(data: bytes) -> bytes:
    sink = pa.BufferOutputStream()
    with pa.CompressedOutputStream(sink, "zstd") as stream:
        stream.write(data)
    return sink.getvalue().to_pybytes()


def in_json() -> bytes:
    lines = [json.dumps(dict(zip(HEADINGS, row, strict=True)), ensure_ascii=False) for row in ROWS]
    return ("\n".join(lines) + "\n").encode()


FORMS = {
    "csv": lambda: text(",").encode(), "csv with BOM:.csv": lambda: b"\xef\xbb\xbf" + text(",").encode(),
    "semicolon:.csv": lambda: text(";").encode(), "tsv": lambda: text("\t").encode(),
    "bar:.txt": lambda: text("|").encode(), "utf-16 little:.csv": lambda: text(",").encode("utf-16"),
    "utf-16 big:.txt": lambda: b"\xfe\xff" + text("\t").encode("utf-16-be"),
    "csv.gz": lambda: gzip.compress(text(",").encode()), "tsv.gz": lambda: gzip.compress(text("\t").encode()),
    "csv.zst": lambda: zstd(text(";").encode()), "jsonl": in_json, "ndjson": in_json,
    "jsonl.zst": lambda: zstd(in_json()),
}


def write(folder: Path, form: str) -> None:
    suffix = form.rsplit(":", 1)[-1].removeprefix(".")
    (folder / f"{TABLE}.{suffix}").write_bytes(FORMS[form]())


def read(folder: Path) -> tuple[tuple[str, ...], list[tuple[str | None, ...]]]:
    intake = read_folder(folder)
    assert not intake.faults and len(intake.files) == 1 and not intake.files[0].broken
    raw = intake.files[0]
    return raw.headings, raw.rows.drop("line_").rows()


@pytest.mark.parametrize("form", FORMS)
def test_text_and_json_give_the_same_rows(tmp_path, form):
    write(tmp_path, form)
    assert read(tmp_path) == (HEADINGS, ROWS)


@pytest.mark.parametrize("typed", [False, True])
def test_a_workbook_gives_the_same_rows(tmp_path, typed):
    write_workbook(tmp_path / f"{TABLE}.xlsx", [Sheet("Sheet1", [HEADINGS, *ROWS], typed=typed)])
    assert read(tmp_path) == (HEADINGS, ROWS)


def test_parquet_gives_the_same_rows(tmp_path):
    frame = pl.DataFrame(ROWS, schema=dict.fromkeys(HEADINGS, pl.String), orient="row")
    frame.write_parquet(tmp_path / f"{TABLE}.parquet")
    assert read(tmp_path) == (HEADINGS, ROWS)


def test_every_reader_is_among_them():
    assert {"." + f.rsplit(":", 1)[-1].removeprefix(".").split(".")[0] for f in FORMS} | {".parquet"} == set(READERS)


@pytest.mark.parametrize(("name", "data"), [
    ("tests.csv.gz", b"\x1f\x8bnoise"), ("tests.csv.zst", b"\x28\xb5\x2f\xfdnoise"), ("tests.csv.gz", b"plain"),
    ("tests.xlsx", b"PK\x03\x04noise"), ("tests.xlsx", b"\xd0\xcf\x11\xe0locked"), ("tests.jsonl", b"[1]\n{\n"),
    ("tests.jsonl", b""), ("tests.tsv", b""), ("tests.txt", b"PAR1"),
])
def test_a_damaged_file_is_refused_in_words(tmp_path, name, data):
    (tmp_path / name).write_bytes(data)
    (fault,) = read_folder(tmp_path).faults
    assert fault.exit_code == 3 and fault.where.startswith(name) and "noise" not in fault.text


def test_half_a_character_of_utf_16_sets_its_record_aside(tmp_path):
    (tmp_path / "tests.csv").write_bytes("value,unit\n1,kpa\n".encode("utf-16") + b"\x00\xd8,\x002\x00\n\x00")
    (raw,) = read_folder(tmp_path).files
    assert [(b.line, b.rule) for b in raw.broken] == [(3, "tests.row.undecodable")]
    assert raw.rows.rows() == [("1", "kpa", 2)]
