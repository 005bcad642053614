"""Workbooks as clinics have them: titles, blank rows, merged cells, days of both systems, errors, locked files."""

from __future__ import annotations

import datetime as dt

import pytest
import xlsxwriter

from pipeline.ingest import read_folder
from pipeline.ingest.excel import Workbook, headings_of, read_sheet
from pipeline.ingest.raw import Unreadable


def book(path, fill, options=None):
    made = xlsxwriter.Workbook(str(path), options or {})
    day = made.add_format({"num_format": "dd/mm/yyyy"})
    fill(made, day)
    made.close()
    return path


def clinic(made, day):
    sheet = made.add_worksheet("Pressures")
    sheet.write(0, 1, "Pressures of this year")
    for k, name in enumerate(("Person", "Day", "Best")):
        sheet.write(2, k + 1, name)
    sheet.merge_range(4, 1, 5, 1, "kq7mzx2a")
    sheet.write_datetime(4, 2, dt.date(2026, 4, 3), day)
    sheet.write_number(4, 3, 61.5)
    sheet.write_number(5, 2, 46115)
    sheet.write_formula(5, 3, "=1/0", None, "#DIV/0!")
    sheet.write_formula(7, 2, "=DATE(2026,4,3)", day, 46115)
    sheet.write_boolean(7, 3, True)
    sheet.write_string(8, 1, "   ")


def test_lines_are_rows_of_the_sheet_and_cells_come_as_text(tmp_path):
    raw = read_sheet(Workbook(book(tmp_path / "a.xlsx", clinic), "tests"), "Pressures", "tests", (3,))
    assert raw.headings == ("Person", "Day", "Best") and raw.file == "a.xlsx#Pressures"
    assert raw.rows.rows() == [("kq7mzx2a", "2026-04-03", "61.5", 5), (None, "46115", None, 6),
                               (None, "2026-04-03", "true", 8)]


def test_a_day_of_the_1904_system_is_the_same_day(tmp_path):
    path = book(tmp_path / "a.xlsx", clinic, {"date_1904": True})
    found = Workbook(path, "tests")
    assert found.counts_from_1904 and not Workbook(book(tmp_path / "b.xlsx", clinic), "tests").counts_from_1904
    assert read_sheet(found, "Pressures", "tests", (3,)).rows["Day"][0] == "2026-04-03"


def test_headings_in_two_rows_are_joined_and_reach_right():
    rows = [(None, "MIP", None, "MEP", None), ("Day", "1", "2", "1", "2")]
    assert headings_of(rows) == ["Day", "MIP 1", "MIP 2", "MEP 1", "MEP 2"]


def test_sheets_named_like_tables_are_read_and_unused_ones_passed_over(tmp_path):
    def fill(made, _day):
        for name in ("Tests ", "pauses", "notes"):
            made.add_worksheet(name).write(0, 0, "client_key")
        made.get_worksheet_by_name("Tests ").write(1, 0, "kq7mzx2a")
    book(tmp_path / "mine.xlsx", fill)
    intake = read_folder(tmp_path)
    assert [(r.table, r.file) for r in intake.files] == [("tests", "mine.xlsx#Tests ")]
    assert "pauses" in intake.absent and not intake.faults


def test_two_sheets_or_files_of_one_table_are_refused(tmp_path):
    def fill(made, _day):
        sheet = made.add_worksheet("tests")
        sheet.write_column(0, 0, ("client_key", "kq7mzx2a"))
    book(tmp_path / "a.xlsx", fill)
    book(tmp_path / "b.xlsx", fill)
    (fault,) = read_folder(tmp_path).faults
    assert fault.rule == "table.file.twice" and "a.xlsx#tests and b.xlsx#tests" in fault.text


def test_a_sheet_without_headings_is_refused_and_the_lock_of_an_open_workbook_is_no_file(tmp_path):
    path = book(tmp_path / "tests.xlsx", lambda made, _day: made.add_worksheet("One"))
    (tmp_path / "~$tests.xlsx").write_bytes(b"lock")
    with pytest.raises(Unreadable, match="no row of headings"):
        read_sheet(Workbook(path, "tests"), "One", "tests")
    assert len(read_folder(tmp_path).faults) == 1
