"""Several sheets of one layout through one map: one table, and each row knows the sheet it stands on."""

from __future__ import annotations

import tomllib
from pathlib import Path

import polars as pl
import pytest
from click.testing import CliRunner

from pipeline.cli import main
from pipeline.ingest import Intake, read_folder
from pipeline.ingest.maps import MapError, from_mapping
from pipeline.ingest.workbook_out import Sheet, write_workbook
from pipeline.store import open_store
from pipeline.validate import LoadMeta, check, load, open_rows
from tests.validate.folder import KEY, LENIENT, OTHER, write

META = LoadMeta("2026-01-01T00:00:00", "0.1.0", "{}")
HEADINGS = ["Person", "Day", "Part", "Sets"]
MAP = """
[[source]]
file = "log.xlsx"
sheet = ["sessions 2025", "sessions 2026"]
[[source.table]]
name = "sessions"
columns = { client_key = "Person", session_on = "Day", slot = "Part", sets_done = "Sets" }
"""
NO_SESSIONS = {"sessions": list[str]()}


def folder(place: Path, first: list[list[str | None]], second: list[list[str | None]],
           headings: list[str] = HEADINGS) -> Path:
    place.mkdir(exist_ok=True)
    write(place, **NO_SESSIONS)
    write_workbook(place / "log.xlsx", [Sheet("sessions 2025", [HEADINGS, *first]),
                                        Sheet("sessions 2026", [headings, *second])])
    return place


def read(place: Path, text: str = MAP) -> Intake:
    return read_folder(place, from_mapping(tomllib.loads(text), "m.toml", text))


def session(key: str, day: str, slot: str | None, sets: str) -> list[str | None]:
    return [key, day, slot, sets]


def test_rows_of_both_sheets_are_one_table_with_sheet_and_line(tmp_path: Path) -> None:
    place = folder(tmp_path / "in", [session(KEY, "2025-01-06", "am", "2"), session(KEY, "2025-01-06", "pm", "2")],
                   [session(KEY, "2026-01-06", "am", "2"), session(OTHER, "2026-01-06", "am", "many")])
    with open_store(":memory:") as store:
        summary = load(store, check(read(place), LENIENT), META)
        rows = store.sql("select session_on::varchar as d, slot, file, line from received.sessions "
                         "order by d, slot").rows()
        aside = store.sql("select file, line, rule from received.set_aside").rows()
        out = open_rows(store)["sessions"].select("set_aside_file", "set_aside_line", "client_key").rows()
        loads = store.sql("select file, rows_read, rows_kept, rows_set_aside from received.files "
                          "where table_name = 'sessions'").rows()
        again = load(store, check(read(place), LENIENT), META)
    assert rows == [("2025-01-06", "am", "log.xlsx#sessions 2025", 2),
                    ("2025-01-06", "pm", "log.xlsx#sessions 2025", 3),
                    ("2026-01-06", "am", "log.xlsx#sessions 2026", 2)]
    assert aside == [("log.xlsx#sessions 2026", 3, "sessions.sets_done.number")]
    assert out == [("log.xlsx#sessions 2026", "3", OTHER)]
    assert loads == [("log.xlsx#sessions 2025, sessions 2026", 4, 3, 1)]
    assert summary.changed and not again.changed


def test_rows_of_one_key_that_disagree_across_the_sheets_are_both_set_aside(tmp_path: Path) -> None:
    place = folder(tmp_path / "in", [session(KEY, "2025-12-31", "am", "2"), session(KEY, "2025-12-30", "am", "2")],
                   [session(KEY, "2025-12-31", "am", "3"), session(KEY, "2025-12-30", "am", "2")])
    found = check(read(place), LENIENT).set_aside.select("file", "line", "rule").rows()
    assert found == [("log.xlsx#sessions 2025", 2, "sessions.row.conflict"),
                     ("log.xlsx#sessions 2026", 2, "sessions.row.conflict"),
                     ("log.xlsx#sessions 2026", 3, "sessions.row.repeated")]


def test_the_same_line_of_two_sheets_is_corrected_by_itself(tmp_path: Path) -> None:
    place = folder(tmp_path / "in", [session(KEY, "2025-01-06", "am", "x")], [session(KEY, "2026-01-06", "am", "y")])
    mended = tmp_path / "mended"
    mended.mkdir()
    with open_store(":memory:") as store:
        load(store, check(read(place), LENIENT), META)
        open_rows(store)["sessions"].tail(1).with_columns(sets_done=pl.lit("2")).write_csv(mended / "sessions.csv")
        load(store, check(read_folder(mended), LENIENT), META)
        aside = store.sql("select file, to_batch from received.set_aside order by file").rows()
    assert aside == [("log.xlsx#sessions 2025", None), ("log.xlsx#sessions 2026", 2)]


def test_a_column_that_moved_is_still_read_and_a_missing_one_named_with_its_sheet(tmp_path: Path) -> None:
    turned = ["Sets", "Person", "Day", "Part"]
    place = folder(tmp_path / "a", [session(KEY, "2025-01-06", "am", "2")], [["2", KEY, "2026-01-06", "am"]], turned)
    (raw,) = (f for f in read(place).files if f.table == "sessions")
    assert raw.rows["sets_done"].to_list() == ["2", "2"] and raw.place_of("sets_done") is None
    place = folder(tmp_path / "b", [session(KEY, "2025-01-06", "am", "2")], [[KEY, "2026-01-06", "am"]], HEADINGS[:3])
    (fault,) = (f for f in read(place).faults if "lacks headings" in f.text)
    assert "log.xlsx#sessions 2026" in fault.text and "'Sets'" in fault.text


@pytest.mark.parametrize("names", ['[]', '["a", "a"]', '["a", ""]', '[true]', '3'])
def test_odd_lists_of_sheets_are_refused(names: str) -> None:
    with pytest.raises(MapError, match="sheet"):
        from_mapping(tomllib.loads(MAP.replace('["sessions 2025", "sessions 2026"]', names)), "m.toml")


def test_a_draft_puts_sheets_of_the_same_headings_together_and_asks(tmp_path: Path) -> None:
    place = folder(tmp_path / "in", [session(KEY, "2025-01-06", "am", "2")], [session(KEY, "2026-01-06", "am", "2")])
    told = CliRunner().invoke(main, ["suggest-map", str(place / "log.xlsx"), "--out", str(tmp_path / "m.toml")])
    assert told.exit_code == 0, told.output
    text = (tmp_path / "m.toml").read_text(encoding="utf-8")
    assert 'sheet = ["sessions 2025", "sessions 2026"]' in text and "are these sheets one table" in text
    given = tomllib.loads(text) | {"open_questions": []}
    (raw,) = (f for f in read_folder(place, from_mapping(given, "m.toml", text)).files if f.table == "sessions")
    assert raw.rows.height == 2
