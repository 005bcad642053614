from __future__ import annotations

import pytest

from pipeline.ingest.json_lines import read_json_lines


def read(tmp_path, text: str):
    path = tmp_path / "tests.jsonl"
    path.write_text(text, encoding="utf-8")
    return read_json_lines(path)


def test_numbers_stay_as_they_are_written_and_names_may_come_late(tmp_path):
    raw = read(tmp_path, '{"value": 61.50, "n": 12345678901234567890}\n\n{"unit": "kpa", "ok": true, "value": null}\n')
    assert raw.headings == ("value", "n", "unit", "ok")
    assert raw.rows.rows() == [("61.50", "12345678901234567890", None, None, 1), (None, None, "kpa", "yes", 3)]


@pytest.mark.parametrize("line", [
    '{"a": {"b": 1}}', '{"a": [1]}', '{"a": 1, "a": 2}', "{", "[1]", "7", "null", '{"a": "\\ud800"}',
    '{"a": "\\u0000"}', "[" * 100_000,
])
def test_a_line_that_is_no_flat_object_is_set_apart(tmp_path, line):
    raw = read(tmp_path, '{"a": 1}\n' + line + '\n{"a": 2}\n')
    assert [(b.line, b.rule) for b in raw.broken] == [(2, "tests.row.json")]
    assert raw.rows.rows() == [("1", 1), ("2", 3)] and raw.n_read == 3


def test_nan_is_no_number_and_comes_empty(tmp_path):
    assert read(tmp_path, '{"a": NaN, "b": "x"}\n').rows.rows() == [(None, "x", 1)]
