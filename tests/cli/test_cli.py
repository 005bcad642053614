"""The command line: words, exit codes, JSON, and what it never prints."""

from __future__ import annotations

import errno
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipeline import cli_output
from pipeline.cli import main
from pipeline.errors import FileRefused, IdentifierFound, RmtError
from tests.validate.folder import KEY, SOUND, write


def run(*words: str):
    return CliRunner().invoke(main, list(words))


@pytest.mark.parametrize("command", sorted(main.commands))
def test_help_has_an_example(command):
    shown = run(command, "--help")
    assert shown.exit_code == 0 and f"rmt-outcomes {command}" in shown.output


def test_help_imports_nothing_heavy():
    code = ("import sys; sys.argv=['x','--help']\n"
            "from pipeline.cli import main\n"
            "try: main()\nexcept SystemExit: pass\n"
            "heavy={'polars','duckdb','numpy','altair','great_tables','rich','statsmodels'} & set(sys.modules)\n"
            "assert not heavy, heavy")
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)


def test_wrong_usage_is_2_and_the_path_is_not_echoed(tmp_path):
    shown = run("check", str(tmp_path / "anna_muster"))
    assert shown.exit_code == 2 and "anna" not in shown.output and "no folder" in shown.output


def test_a_wrong_quarter_is_2():
    assert run("review", ".", "--quarter", "2026-3").exit_code == 2


@pytest.mark.parametrize(
    ("fault", "code"),
    [(RmtError("x"), 1), (FileRefused([RmtError("x")]), 3), (IdentifierFound([RmtError("x")]), 4),
     (KeyboardInterrupt(), 130), (ValueError("secret 4711"), 1), (BrokenPipeError(), 0)],
)
def test_failures_end_with_their_code_and_no_value(fault, code, capsys):
    assert cli_output.failure("load", fault, as_json=False) == code
    captured = capsys.readouterr()
    assert "4711" not in captured.err + captured.out and "Traceback" not in captured.err


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS])
def test_a_full_or_locked_disk_is_no_unexpected_fault_and_shows_no_path(number, capsys):
    assert cli_output.failure("report", OSError(number, "no", "/home/anna/out/page.html"), as_json=False) == 1
    said = capsys.readouterr().err
    assert "free some room" in said and "unexpected" not in said and "anna" not in said


def test_an_unexpected_fault_names_a_file_that_holds_no_value(capsys):
    try:
        raise ValueError("secret 4711")
    except ValueError as fault:
        cli_output.failure("load", fault, as_json=True)
    said = json.loads(capsys.readouterr().out)
    path = said["errors"][0]["what"].split("send the file ")[1].split(" to ")[0]
    assert said["exit_code"] == 1 and not said["ok"]
    assert "4711" not in Path(path).read_text(encoding="utf-8")
    os.unlink(path)


def test_all_faults_of_a_refusal_are_said(capsys):
    faults = [RmtError("one", where="a.csv"), RmtError("two", where="b.csv")]
    cli_output.failure("load", FileRefused(faults), as_json=False)
    assert capsys.readouterr().err.splitlines() == ["a.csv: one.", "b.csv: two."]


def test_files_that_no_table_reads_are_counted_and_only_near_names_are_shown(tmp_path):
    write(tmp_path)
    for name in ("Sessions.csv", "maria sanchez.tsv", "letter.docx"):
        (tmp_path / name).write_text("x")
    said = run("check", str(tmp_path)).output
    assert "2 files are named like no table and were left out: Sessions.csv (if it is sessions, name it so)." in said
    assert "maria" not in said and "letter" not in said
    for name in ("Sessions.csv", "maria sanchez.tsv"):
        (tmp_path / name).unlink()
    assert "named like no table" not in run("check", str(tmp_path)).output


def test_a_check_says_each_rule_once_with_shape_and_lines(tmp_path):
    bad = [f"{KEY},2025-01-{day},mip,1,Maria {day},cmh2o," for day in (10, 11, 12)]
    shown = run("check", str(write(tmp_path, tests=[*SOUND["tests"], *bad])), "--settings", str(lenient(tmp_path)))
    assert shown.exit_code == 7 and "Maria" not in shown.output
    assert "got Aaaaa 99 (8 characters), value hidden.\n    2 more rows (lines 7, 8)" in shown.output


def lenient(folder: Path) -> Path:
    place = folder / "lenient.toml"
    place.write_text("set_aside_max_pct = 100.0\n")
    return place
