"""The definition of CSV: Y. Shafranovich, RFC 4180, October 2005, section 2, rules 1 to 7, examples as printed there.

Read by the walk and by the database. Where the RFC leaves a choice, ours is said beside the case.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.ingest.csv_file import read_csv, records
from pipeline.store import CsvSource, open_store

CRLF = "\r\n"
HEADER = f"field_name1,field_name2,field_name3{CRLF}"  # rule 3

CASES = {
    "1: each record on a line of its own": (f"aaa,bbb,ccc{CRLF}zzz,yyy,xxx{CRLF}",
                                            [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
    "2: the last may have no line break": (f"aaa,bbb,ccc{CRLF}zzz,yyy,xxx",
                                           [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
    "4: spaces are part of a field": (f" aaa ,b b,ccc {CRLF}", [[" aaa ", "b b", "ccc "]]),
    "5: quoted or not": (f'"aaa","bbb","ccc"{CRLF}zzz,yyy,xxx{CRLF}', [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
    "6: line breaks, marks and commas in quotes": (f'"aaa","b {CRLF}bb","c,c"{CRLF}zzz,yyy,xxx{CRLF}',
                                                   [["aaa", f"b {CRLF}bb", "c,c"], ["zzz", "yyy", "xxx"]]),
    "7: a doubled mark": (f'"aaa","b""bb","ccc"{CRLF}', [["aaa", 'b"bb', "ccc"]]),
}


@pytest.mark.parametrize("name", CASES)
def test_the_walk_reads_it(name: str) -> None:
    body, expected = CASES[name]
    assert [cells for _, cells in records(HEADER + body)][1:] == expected


@pytest.mark.parametrize("name", CASES)
def test_the_database_reads_it(tmp_path: Path, name: str) -> None:
    body, expected = CASES[name]
    (tmp_path / "tests.csv").write_bytes((HEADER + body).encode())
    with open_store(":memory:") as store:
        found = store.sql(f"select * from {CsvSource(tmp_path / 'tests.csv', ('a', 'b', 'c')).relation}")
    assert [list(row) for row in found.rows()] == expected


@pytest.mark.parametrize("body", ["aaa,bbb", "aaa,bbb,ccc,ddd", "aaa,bbb,ccc,"])
def test_every_record_has_as_many_fields_as_the_header(tmp_path: Path, body: str) -> None:
    """Rule 4: "Each line should contain the same number of fields throughout the file. ... The last field in the record
    must not be followed by a comma." Such a record is set aside by us, never padded or cut."""
    (tmp_path / "tests.csv").write_bytes((HEADER + body + CRLF).encode())
    raw = read_csv(tmp_path / "tests.csv")
    assert raw.rows.is_empty() and [b.rule for b in raw.broken] == ["tests.row.ragged"]


@pytest.mark.parametrize("body", ['aaa,b"bb,ccc', 'aaa,"bbb"x,ccc', 'aaa,"b"bb",ccc'])
def test_marks_where_the_grammar_has_none(tmp_path: Path, body: str) -> None:
    """Rule 5: "If fields are not enclosed with double quotes, then double quotes may not appear inside the fields." We
    keep a mark inside a plain field as text (it is judged with its cell), and set broken quoting aside."""
    (tmp_path / "tests.csv").write_bytes((HEADER + body + CRLF).encode())
    raw = read_csv(tmp_path / "tests.csv")
    kept = [row[:3] for row in raw.rows.rows()]
    assert (kept, [b.rule for b in raw.broken]) in (([("aaa", 'b"bb', "ccc")], []), ([], ["tests.row.quoting"]))
    assert bool(kept) == (body == 'aaa,b"bb,ccc')
