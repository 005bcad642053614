"""Intake maps: what they turn into what, what they refuse, and that nothing is guessed beyond them."""

from __future__ import annotations

import tomllib

import pytest

from pipeline.errors import FileRefused, IdentifierFound
from pipeline.ingest import read_folder
from pipeline.ingest.maps import MapError, from_mapping, load_map
from pipeline.settings import Settings
from pipeline.validate import check

KEY, OTHER = "kq7mzx2a", "w9trcb4e"
HOW = '[[source]]\nfile = "a.csv"\n'


def mapped(folder, text: str, *lines: str, encoding: str = "utf-8", name: str = "a.csv"):
    (folder / name).write_bytes(("\n".join(lines) + "\n").encode(encoding))
    return read_folder(folder, from_mapping(tomllib.loads(text), "m.toml", text))


def rows(intake, *columns: str):
    assert not intake.faults, [f.text for f in intake.faults]
    return intake.files[0].rows.select(columns).rows()


PAUSES = HOW + """date_order = "dmy"
[[source.table]]
name = "pauses"
columns = { client_key = "Who", from_on = "Start", reason = "Why" }
"""


def test_columns_codes_days_and_blanks(tmp_path):
    text = PAUSES.replace('date_order = "dmy"', 'date_order = "dmy"\nblanks = ["-", "n/a"]') \
        + '[source.table.codes.reason]\n"Ill" = "acute_illness"\n"" = "other"\n'
    intake = mapped(tmp_path, text, "why,who,START,Colour", f" ILL ,{KEY},03/04/2026,red", f"-,{OTHER},2026-04-05,N/A",
                    f"tired,{OTHER},31/04/2026,")
    assert rows(intake, "client_key", "from_on", "reason", "line_") == [
        (KEY, "2026-04-03", "acute_illness", 2), (OTHER, "2026-04-05", None, 3), (OTHER, "31/04/2026", "tired", 4)]
    assert intake.files[0].headings == ("client_key", "from_on", "reason", "Colour") and intake.map_text == text
    assert [intake.files[0].place_of(c) for c in ("client_key", "from_on", "reason", "Colour")] == [2, 3, 1, 4]


def test_a_declared_order_that_a_row_disproves_refuses_the_file(tmp_path):
    (fault,) = mapped(tmp_path, PAUSES, "Who,Start,Why", f"{KEY},03/04/2026,x", f"{KEY},03/25/2026,x").faults
    assert "cannot be dmy" in fault.text and "lines 3" in fault.text


def test_an_undeclared_order_is_refused_through_a_map_too(tmp_path):
    text = PAUSES.replace('date_order = "dmy"\n', "")
    with pytest.raises(FileRefused, match=r"pauses\.from_on\.date_order"):
        check(mapped(tmp_path, text, "Who,Start,Why", f"{KEY},03/04/2026,other"), Settings(set_aside_max_pct=100.0))


NUMBERS = HOW + """delimiter = "semicolon"
[[source.table]]
name = "other_outcomes"
columns = { client_key = "k", measured_on = "d", value = "v" }
constants = { measure = "six_minute_walk_m" }
"""


@pytest.mark.parametrize(("declared", "text", "value"), [
    (False, "61,5", "61,5"), (True, "61,5", "61.5"), (True, "61.5", "61,5"), (True, "1.500", "1,500"),
    (True, "1.500,5", "1,500.5"), (False, "61.5", "61.5"), (True, "61", "61"),
])
def test_a_comma_is_a_decimal_comma_only_where_it_is_declared(tmp_path, declared, text, value):
    how = NUMBERS.replace("[[source.table]]", "decimal_comma = true\n[[source.table]]") if declared else NUMBERS
    found = mapped(tmp_path, how, "k;d;v", f"{KEY};2026-01-02;{text}")
    assert rows(found, "value", "measure") == [(value, "six_minute_walk_m")]


def test_units_are_converted_exactly_and_only_where_declared(tmp_path):
    text = HOW + """[[source.table]]
name = "clients"
columns = { client_key = "k", sex = "s", age_years = "a", height_cm = "h", weight_kg = "w" }
units = { height_cm = "in", weight_kg = "lb" }
"""
    found = mapped(tmp_path, text, "k,s,a,h,w", f"{KEY},male,60,70,150", f"{OTHER},male,60,tall,")
    assert rows(found, "height_cm", "weight_kg") == [("177.8", "68.038856"), ("tall", None)]


def test_windows_1252_only_where_it_is_declared(tmp_path):
    lines = ("Kürzel,Start,Why", f"{KEY},2026-01-02,Müde")
    text = PAUSES.replace("Who", "Kürzel") + 'codes = { reason = { "Müde" = "personal" } }\n'
    (fault,) = mapped(tmp_path, text, *lines, encoding="cp1252").faults
    assert fault.exit_code == 3
    found = mapped(tmp_path, text.replace(HOW, HOW + 'encoding = "windows-1252"\n'), *lines, encoding="cp1252")
    assert rows(found, "client_key", "reason") == [(KEY, "personal")]


def test_a_heading_in_another_unicode_form_is_the_same_heading(tmp_path):
    text = PAUSES.replace("Who", "Kürzel")
    found = mapped(tmp_path, text, "Ku\u0308rzel,Start,Why", f"{KEY},2026-01-02,other")
    assert rows(found, "client_key") == [(KEY,)]


WEEK = HOW + """[[source.table]]
name = "weekly_logs"
columns = { client_key = "k", week_from_on = "w" }
constants = { returned = "yes" }
[source.table.ticks]
marks = ["x", "✓"]
blank = "BLANK"
[source.table.ticks.counts]
days_trained = [["mo1", "mo2"], ["tu1", "tu2"]]
sessions_done = ["mo1", "mo2", "tu1", "tu2"]
"""


@pytest.mark.parametrize(("cells", "blank", "told"), [
    ("x,X,,", "zero", ("1", "2")), ("x,,✓,", "not recorded", ("2", "2")), (",,,", "zero", ("0", "0")),
    (",,,", "not recorded", (None, None)), ("x,2,,", "zero", ("not a tick: 2",) * 2),
])
def test_a_week_of_ticks_becomes_a_diary_week(tmp_path, cells, blank, told):
    found = mapped(tmp_path, WEEK.replace("BLANK", blank), "k,w,mo1,mo2,tu1,tu2", f"{KEY},2026-01-05,{cells}")
    assert rows(found, "days_trained", "sessions_done") == [told]


def test_wide_efforts_and_fill_down_and_once(tmp_path):
    text = HOW + """fill_down = ["k"]
[[source.table]]
name = "clients"
once = true
columns = { client_key = "k", sex = "s", age_years = "a" }
[[source.table]]
name = "tests"
columns = { client_key = "k", tested_on = "d" }
constants = { unit = "kpa" }
[[source.table.repeat]]
columns = { value = "mip 1" }
constants = { pressure = "mip", effort_no = 1 }
[[source.table.repeat]]
columns = { value = "mip 2" }
constants = { pressure = "mip", effort_no = 2 }
"""
    intake = mapped(tmp_path, text, "k,s,a,d,mip 1,mip 2", f"{KEY},male,60,2026-01-02,6.1,6.2",
                    ",male,60,2026-02-02,,6.4")
    clients, tests = sorted(intake.files, key=lambda r: r.table)
    assert clients.rows.rows() == [(KEY, "male", "60", 2)]
    assert tests.rows.select("client_key", "value", "effort_no", "unit").rows() == [
        (KEY, "6.1", "1", "kpa"), (KEY, "6.2", "2", "kpa"), (KEY, "6.4", "2", "kpa")]
    verdict = next(f for f in check(intake, Settings()).files if f.table == "tests")
    assert verdict.kept["line"].to_list() == [2, 2, 3] and verdict.rows_set_aside == 0


@pytest.mark.parametrize("line", ["Phone", "Patient name", "Date of birth"])
def test_an_identifier_refuses_the_file_although_the_map_leaves_it_out(tmp_path, line):
    intake = mapped(tmp_path, PAUSES, f"Who,Start,Why,{line}", f"{KEY},2026-01-02,other,x")
    with pytest.raises(IdentifierFound):
        check(intake, Settings())


def test_an_identifiers_heading_is_told_even_where_the_map_reads_it(tmp_path):
    intake = mapped(tmp_path, PAUSES.replace("Who", "Patient name"), "Patient name,Start,Why",
                    "muster_anna,2026-01-02,other")
    with pytest.raises(IdentifierFound) as refused:
        check(intake, Settings())
    assert "muster" not in refused.value.text


FAULTS = {
    "colums = {}": "'colums' is no word of a map; did you mean 'columns'?",
    'constants = { reason = "lazy" }': "the constant of 'reason' is not one of acute_illness",
    'codes = { reason = { a = "lazy" } }': "'lazy' is no code of 'reason'",
    'units = { reason = "kpa" }': "'reason' has no unit to convert to",
    "once = 1": "'once' is of the wrong kind", "repeat = [{}]": "every repeat needs headings of its own",
    'ticks = { marks = [], counts = {} }': "'marks' and 'counts' are both needed",
    'where = { a = [true] }': "expected texts",
}


@pytest.mark.parametrize(("line", "said"), FAULTS.items())
def test_a_faulty_map_is_refused_in_words(line, said):
    with pytest.raises(MapError, match=r".*") as refused:
        from_mapping(tomllib.loads(PAUSES + line), "m.toml")
    assert said in refused.value.text and refused.value.exit_code == 2


@pytest.mark.parametrize(("text", "said"), [
    ("", "the map has no [[source]]"), ('open_questions = ["really?"]\n' + PAUSES, "1 open questions"),
    (PAUSES.replace("dmy", "ydm"), "'date_order' must be one of ymd, dmy, mdy"),
    (PAUSES.replace("client_key", "client"), "did you mean 'client_key'?"),
    (PAUSES.replace(', reason = "Why"', ""), "nothing fills the required column reason"),
    (PAUSES.replace("pauses", "pause"), "did you mean 'pauses'?"),
    (PAUSES.replace("a.csv", "../a.csv"), "must be the name of a file"), (PAUSES + PAUSES, "both give pauses"),
    (PAUSES.replace("date_order", "header_row = 0\ndate_order"), "'header_row' must be"),
])
def test_every_other_fault_of_a_map(text, said):
    with pytest.raises(MapError) as refused:
        from_mapping(tomllib.loads(text), "m.toml")
    assert said in refused.value.text


def test_a_map_that_is_no_toml_says_where(tmp_path):
    (tmp_path / "m.toml").write_text("a = 1\nb = = 2\n", encoding="utf-8")
    with pytest.raises(MapError, match="line 2"):
        load_map(tmp_path / "m.toml")


@pytest.mark.parametrize(("change", "said"), [
    (("a.csv", "b.csv"), "there is no such file in the folder; did you mean 'a.csv'?"),
    (("Who", "Whom"), "'Whom'; did you mean 'Who'?"), (('"a.csv"', '"*"'), "2 files of the folder have such a name"),
])
def test_what_a_map_does_not_find_is_named(tmp_path, change, said):
    (tmp_path / "notes.md").write_text("x")
    (fault,) = mapped(tmp_path, PAUSES.replace(*change), "Who,Start,Why", f"{KEY},2026-01-02,other").faults
    assert said in fault.text


def test_an_optional_source_may_be_missing_and_canonical_files_stand_beside(tmp_path):
    (tmp_path / "events.csv").write_text(f"client_key,event_on,kind\n{KEY},2026-01-02,death\n")
    text = PAUSES.replace("a.csv", "none.csv").replace("date_order", "optional = true\ndate_order")
    intake = mapped(tmp_path, text, "Who,Start,Why", f"{KEY},2026-01-02,other")
    assert [r.table for r in intake.files] == ["events"] and intake.other_files == ("a.csv",)
