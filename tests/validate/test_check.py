from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.errors import FileRefused, IdentifierFound
from pipeline.settings import Settings
from pipeline.validate import blocks
from tests.validate.folder import KEY, OTHER, SOUND, checked, with_line

CASES = [
    ("clients", "x1y2z3w4,woman,61", "clients.sex.code", 2),
    ("clients", "x1y2z3w4,female,", "clients.age_years.needed", 3),
    ("clients", "short,female,61", "clients.client_key.key", 1),
    ("clients", "x1y2z3w4,female,3", "clients.age_years.range", 3),
    ("clients", "x1y2z3w4,female", "clients.row.ragged", None),
    ("episodes", f"{KEY},2,mill,plan a,2025-03-01,2025-02-01", "episodes.to_on.not_before_start", 6),
    ("episodes", f"{KEY},2,mill,plan a,2025-02-30,", "episodes.from_on.day", 5),
    ("tests", f"{KEY},2025-01-09,mip,1,3.x,cmh2o,", "tests.value.number", 5),
    ("tests", f"{KEY},2025-01-09,mip,1,,cmh2o,", "tests.value.needed", 5),
    ("tests", f"{KEY},2025-01-09,mip,1,60,cmh2o,too_ill", "tests.not_done_reason.value_or_reason", 7),
    ("tests", f"{KEY},2025-01-09,mip,1,50,kpa,", "tests.value.believable", 5),
    ("tests", f"{KEY},2025-01-09,mep,1,-50,cmh2o,", "tests.value.mep_above_zero", 5),
    ("sessions", f"{KEY},2025-01-08,am,2,20,13,nrs_0_10", "sessions.effort_rating.range", 6),
    ("sessions", f"{KEY},2025-01-08,am,2,20,5.5,nrs_0_10", "sessions.effort_rating.whole_on_nrs", 6),
    ("sessions", f"{KEY},2025-01-08,am,2,20.5,5,nrs_0_10", "sessions.breaths_done.number", 5),
    ("sessions", f"{KEY},2025-01-06,am,2,20,5,nrs_0_10", "sessions.row.repeated", None),
]


@pytest.mark.parametrize(("table", "line", "rule", "column_no"), CASES, ids=[c[2] for c in CASES])
def test_a_faulty_row_is_set_aside_with_its_line_column_and_rule(
    tmp_path: Path, table: str, line: str, rule: str, column_no: int | None
) -> None:
    verdict = checked(tmp_path, **with_line(table, line))
    found = verdict.set_aside.select("file", "line", "column_no", "rule").rows()
    assert found == [(f"{table}.csv", len(SOUND[table]) + 1, column_no, rule)]
    assert all(f.rows_kept + f.rows_set_aside == f.rows_read for f in verdict.files)


def test_the_sound_folder_is_kept_whole(tmp_path: Path) -> None:
    verdict = checked(tmp_path, Settings())
    assert verdict.set_aside.is_empty() and {f.file: f.rows_kept for f in verdict.files} == {
        f"{t}.csv": len(lines) - 1 for t, lines in SOUND.items()}


def test_rows_of_one_key_that_disagree_are_all_set_aside(tmp_path: Path) -> None:
    more = [f"{KEY},male,61", f"{OTHER},male,70", f"{KEY},female,61.0"]
    verdict = checked(tmp_path, clients=[*SOUND["clients"], *more])
    assert verdict.set_aside.select("line", "rule", "client_key_ok").rows() == [
        (2, "clients.row.conflict", KEY), (4, "clients.row.conflict", KEY), (5, "clients.row.repeated", OTHER),
        (6, "clients.row.conflict", KEY)]


def test_sessions_without_a_slot_are_never_repeats_and_are_numbered(tmp_path: Path) -> None:
    kept = next(f.kept for f in checked(tmp_path).files if f.table == "sessions")
    assert kept.select("line", "ordinal").rows() == [(2, 0), (3, 0), (4, 1), (5, 2)]


def test_every_fault_of_a_row_is_told_and_the_row_counted_once(tmp_path: Path) -> None:
    verdict = checked(tmp_path, **with_line("tests", "bad key!,2025-13-01,mipp,x,9999,psi,"))
    assert verdict.set_aside.select("column_no", "rule").rows() == [
        (1, "tests.client_key.key"), (2, "tests.tested_on.day"), (3, "tests.pressure.code"),
        (4, "tests.effort_no.number"), (5, "tests.value.range"), (6, "tests.unit.code")]
    assert next(f.rows_set_aside for f in verdict.files if f.table == "tests") == 1


def test_what_is_known_of_a_row_set_aside_is_kept_with_it(tmp_path: Path) -> None:
    verdict = checked(tmp_path, episodes=[*SOUND["episodes"], f"{KEY},x,mill,plan a,2025-03-01,"])
    row = verdict.set_aside.row(0, named=True)
    assert (row["site"], row["client_key_ok"], str(row["occurred_on"])) == ("mill", KEY, "2025-03-01")
    assert row["masked_value"] == "a (1 characters)"


def test_no_value_is_shown_and_a_block_says_the_rest(tmp_path: Path) -> None:
    lines = [f"{KEY},2025-01-{day:02d},mip,1,Maria Sanchez 7,cmh2o," for day in range(10, 16)]
    verdict = checked(tmp_path, tests=SOUND["tests"] + lines)
    (block,) = blocks(verdict.set_aside)
    assert block.text == (
        "tests.csv:6:5: set aside by tests.value.number: expected a number with a decimal point from -400 to 400, "
        "got Aaaaa Aaaaaa... (15 characters), value hidden.\n"
        "    5 more rows (lines 7, 8, 9 ...); rmt-outcomes explain tests.value.number")
    assert "Maria" not in str(verdict.set_aside.to_dicts())


def test_lines_stay_exact_beside_quoted_line_breaks(tmp_path: Path) -> None:
    lines = [f'{KEY},2025-01-0{d},mip,1,"6\n1",cmh2o,' for d in (1, 2)]
    headings, *rows = SOUND["tests"]
    verdict = checked(tmp_path, tests=[headings, *lines, *rows, f"{KEY},2025-01-03,mip,1,x,cmh2o,"])
    assert verdict.set_aside["line"].to_list() == [2, 4, 10]


def test_columns_outside_the_contract_are_named_and_left_out(tmp_path: Path) -> None:
    lines = [line + tail for line, tail in zip(SOUND["clients"], (",ward", ",east", ",west"), strict=True)]
    verdict = checked(tmp_path, clients=lines)
    assert verdict.unknown_columns["clients.csv"] == ("ward",)
    assert "ward" not in next(f.kept for f in verdict.files if f.table == "clients").columns


def refused(folder: Path, settings: Settings = Settings(), **changed: list[str]) -> str:  # noqa: B008
    with pytest.raises(FileRefused) as caught:
        checked(folder, settings, **changed)
    return str(caught.value)


def test_mixed_signs_of_mip_refuse_the_file_and_one_sign_does_not(tmp_path: Path) -> None:
    tests = [*SOUND["tests"], f"{KEY},2025-01-09,mip,1,-60,cmh2o,"]
    text = refused(tmp_path, tests=tests)
    assert "tests.value.mixed_signs: 1 MIP values are below 0 and 2 above; the negative ones stand in lines 6" in text
    negative = [line.replace(",61,", ",-61,").replace(",64.5,", ",-64.5,") for line in tests]
    assert checked(tmp_path, tests=negative).set_aside.is_empty()


def test_all_faults_of_all_files_are_told_at_once(tmp_path: Path) -> None:
    text = refused(tmp_path, clients=["client_key,Sex ,age", f"{KEY},female,61"], episodes=[SOUND["episodes"][0]],
                   tests=[*SOUND["tests"], f"{KEY},2025-01-09,mip,1,-60,cmh2o,"], sessions=["a,a"])
    for said in ("'sex' is missing", "rename 'Sex'", "'age_years' is missing", "rename 'age'", "headings but no rows",
                 "mixed_signs", "sessions.heading.twice"):
        assert said in text


def test_too_many_rows_set_aside_refuse_the_file(tmp_path: Path) -> None:
    text = refused(tmp_path, tests=[*SOUND["tests"], *[f"{KEY},2025-01-{d},mip,1,x,cmh2o," for d in (10, 11)]])
    assert "2 of 6 rows would be set aside, most often by tests.value.number" in text and "at most 25 %" in text


def test_identifying_data_refuse_the_file_before_all_else_and_are_not_shown(tmp_path: Path) -> None:
    lines = ["client_key,sex,age_years,patient_name,contact", f"{KEY},female,61,Maria Sanchez,maria@example.org"]
    with pytest.raises(IdentifierFound) as caught:
        checked(tmp_path, clients=lines, sessions=["a,a"])
    text = str(caught.value)
    assert caught.value.exit_code == 4 and "column 4 (patient_name) looks like identifying data: name, 1 cells" in text
    assert "column 5 (contact) looks like identifying data: e-mail, 1 cells" in text
    assert "sessions.heading.twice" in text
    assert "Maria" not in text and "example.org" not in text
