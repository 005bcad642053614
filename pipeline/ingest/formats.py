"""Which reader reads which file: by suffix, packed or not, and sheets of workbooks that are named like tables."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from pipeline.contract import TABLES
from pipeline.ingest import excel
from pipeline.ingest.delimited import read_text
from pipeline.ingest.json_lines import read_json_lines
from pipeline.ingest.parquet_file import read_parquet
from pipeline.ingest.raw import RawTable
from pipeline.ingest.text_bytes import PACKED

#: A file format of one table is one module and one line here. Its suffix may be followed by one of PACKED, for text.
READERS: dict[str, Callable[[Path], RawTable]] = {
    ".csv": read_text, ".tsv": read_text, ".txt": read_text, ".parquet": read_parquet,
    ".jsonl": read_json_lines, ".ndjson": read_json_lines,
}
TEXT = (".csv", ".tsv", ".txt")
JSON_LINES = (".jsonl", ".ndjson")


def suffix_of(path: Path) -> str:
    """Return the suffix of a file's format, small: `.csv` of `tests.csv.gz`; "" for a format that is not known."""
    names = path.name.lower().split(".")
    if len(names) > 2 and "." + names[-1] in PACKED and "." + names[-2] in (*TEXT, *JSON_LINES):
        return "." + names[-2]
    suffix = path.suffix.lower()
    return suffix if suffix in READERS or suffix in excel.SUFFIXES else ""


def stem_of(path: Path) -> str:
    """Return a file's name before the suffix of its format."""
    return path.name.split(".")[0] if path.suffix.lower() in PACKED else path.stem


def tables_of_sheets(names: tuple[str, ...], stem: str) -> dict[str, str]:
    """Return sheet -> table: the sheets named like tables, else the only sheet of a workbook named like one."""
    named = {name: name.strip().casefold() for name in names if name.strip().casefold() in TABLES}
    if not named and stem in TABLES and len(names) == 1:
        return {names[0]: stem}
    return named


def read_workbook(path: Path) -> list[RawTable]:
    """Read the sheets of a workbook that are named like tables, headings in the first row.

    A sheet without any row below its headings is passed over: in a workbook made by `template` it was not used.
    """
    book = excel.Workbook(path, "workbook")
    sheets = tables_of_sheets(book.sheets, stem_of(path))
    read = [excel.read_sheet(book, sheet, table) for sheet, table in sheets.items()]
    return [raw for raw in read if raw.n_read]
