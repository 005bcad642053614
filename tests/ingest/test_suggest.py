"""A drafted map: what it finds, what it asks, and that it applies nothing by itself."""

from __future__ import annotations

import tomllib

import pytest
from click.testing import CliRunner

from pipeline.cli import main
from pipeline.ingest import read_folder
from pipeline.ingest.maps import MapError, from_mapping
from pipeline.ingest.suggest import draft
from pipeline.ingest.workbook_out import Sheet, write_workbook

KEY = "kq7mzx2a"


def drafted(tmp_path, name: str, *lines: str, encoding: str = "utf-8"):
    path = tmp_path / name
    path.write_bytes(("\n".join(lines) + "\n").encode(encoding))
    found = draft(path)
    return found, tomllib.loads(found.text(name))


def settled(given: dict) -> dict:
    return given | {"open_questions": []}


def test_wide_efforts_of_both_pressures_with_their_unit(tmp_path):
    found, given = drafted(tmp_path, "p.csv", "Patient ID;Date;MIP 1 (kPa);MIP 2 (kPa);MEP 1 (kPa);Position;Colour",
                           f"{KEY};03.04.2026;6,1;6,2;;sitting;red", f"{KEY};25.04.2026;6,3;;8,1;odd;")
    (source,) = given["source"]
    (table,) = source["table"]
    assert (source["delimiter"], source["date_order"], source["decimal_comma"]) == ("semicolon", "dmy", True)
    assert table["name"] == "tests" and table["columns"]["posture"] == "Position"
    assert table["codes"]["posture"] == {"sitting": "seated"}
    assert [(p["columns"]["value"], p["constants"]["pressure"], p["constants"]["unit"]) for p in table["repeat"]] == [
        ("MIP 1 (kPa)", "mip", "kpa"), ("MIP 2 (kPa)", "mip", "kpa"), ("MEP 1 (kPa)", "mep", "kpa")]
    assert "lines 3 can be nothing else" in found.text("p.csv") and '"Colour"' in found.text("p.csv")


def test_a_draft_is_refused_until_its_questions_are_settled_and_then_reads_the_file(tmp_path):
    _, given = drafted(tmp_path, "p.csv", "Patient ID,Date,MIP 1 (kPa),MIP 2 (kPa)", f"{KEY},25/04/2026,6.1,6.2")
    with pytest.raises(MapError, match="open questions"):
        from_mapping(given, "m.toml")
    intake = read_folder(tmp_path, from_mapping(settled(given), "m.toml"))
    assert intake.files[0].rows.select("tested_on", "value", "unit").rows() == [
        ("2026-04-25", "6.1", "kpa"), ("2026-04-25", "6.2", "kpa")]


def test_what_nothing_tells_is_asked_and_not_filled(tmp_path):
    found, given = drafted(tmp_path, "p.csv", "person,date,MIP 1,MIP 2", f"{KEY},03/04/2026,61,62")
    assert "date_order" not in given["source"][0] and "constants" not in given["source"][0]["table"][0].get("x", {})
    asked = " ".join(found.questions)
    assert "does the day or the month come first" in asked and "required column unit" in asked


def test_morning_and_later_columns_become_two_sessions(tmp_path):
    _, given = drafted(tmp_path, "s.csv", "client,date,breaths am,breaths pm,effort am,effort pm",
                       f"{KEY},2026-01-02,20,20,5,6")
    table = given["source"][0]["table"][0]
    assert table["name"] == "sessions" and [p["constants"] for p in table["repeat"]] == [{"slot": "am"}, {"slot": "pm"}]
    assert table["repeat"][0]["columns"] == {"breaths_done": "breaths am", "effort_rating": "effort am"}


def test_a_week_of_ticks_becomes_a_diary_week(tmp_path):
    _, given = drafted(tmp_path, "w.csv", "code,week of,returned,Mon,Tue,Wed,Thu,Fri,Sat,Sun",
                       f"{KEY},2026-01-05,yes,x,x,,,,,")
    intake = read_folder(tmp_path, from_mapping(settled(given), "m.toml"))
    found = intake.files[0].rows.select("week_from_on", "days_trained", "sessions_done")
    assert found.rows() == [("2026-01-05", "2", "2")]


def test_headings_of_a_workbook_are_found_below_titles_and_in_two_rows(tmp_path):
    rows = [["Our pressures", None, None, None], [None, None, "MIP", None], ["Person", "Date", "1", "2"],
            [KEY, "2026-01-02", "61", "62"], [None, "2026-02-02", "63", "64"]]
    write_workbook(tmp_path / "b.xlsx", [Sheet("Book", rows), Sheet("Notes", [["read me"]])])
    found = draft(tmp_path / "b.xlsx")
    source = tomllib.loads(found.text("b.xlsx"))["source"][0]
    assert source["header_row"] == [2, 3] and source["fill_down"] == ["Person"] and found.n_sources == 1


def test_identifying_columns_are_left_out_and_no_cell_is_printed(tmp_path):
    (tmp_path / "c.csv").write_text("person,sex,age,surname\nkq7mzx2a,female,60,Muster\n", encoding="utf-8")
    shown = CliRunner().invoke(main, ["suggest-map", str(tmp_path / "c.csv"), "--out", str(tmp_path / "c.toml")])
    text = (tmp_path / "c.toml").read_text(encoding="utf-8")
    assert shown.exit_code == 0 and "Muster" not in shown.output + text and KEY not in shown.output + text
    assert "surname looks like identifying data (name)" in text
    again = CliRunner().invoke(main, ["suggest-map", str(tmp_path / "c.csv"), "--out", str(tmp_path / "c.toml")])
    assert again.exit_code == 2 and (tmp_path / "c.toml").read_text(encoding="utf-8") == text
