"""surrogate, who, crosswalk and forget on real files: what they keep, hold back, and never leave behind."""

from __future__ import annotations

import csv
import os
import pty
import subprocess
import sys
from pathlib import Path

import polars as pl
import pytest
from click.testing import CliRunner

from pipeline.cli import main

SAMPLE = Path(__file__).parents[2] / "sample_data"
NAMES = {"family": ("Mustermann", "Lindqvist", "Okafor"), "born": ("1950-03-01", "1944-07-09", "1961-11-30")}


def run(*words: object, code: int = 0) -> str:
    shown = CliRunner().invoke(main, [str(w) for w in words])
    assert shown.exit_code == code, shown.output
    return shown.output


def write(path: Path, rows: list[dict[str, str]]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def person(k: int) -> dict[str, str]:
    return {name: values[k] for name, values in NAMES.items()}


@pytest.fixture
def clinic(tmp_path: Path) -> Path:
    """A clinic's own files: people by family name and birth date, a telephone, a note, an age over 90."""
    folder = tmp_path / "exports"
    write(
        folder / "clients.csv",
        [
            person(k) | {"sex": "female", "age_years": age, "phone": "+44 20 7946 0958", "rank": "1"}
            for k, age in enumerate(("70", "93", "60"))
        ],
    )
    write(
        folder / "episodes.csv",
        [
            person(k) | {"episode_no": "1", "site": "mill", "protocol": "steady_30", "from_on": f"2025-03-0{k + 1}"}
            for k in range(3)
        ],
    )
    write(
        folder / "tests.csv",
        [
            person(k)
            | {
                "tested_on": "2025-03-11",
                "pressure": "mip",
                "effort_no": "1",
                "value": "70",
                "unit": "cmh2o",
                "instrument": "gauge-1",
            }
            for k in range(3)
        ],
    )
    write(
        folder / "sessions.csv",
        [
            person(k) | {"session_on": f"2025-03-1{d}", "slot": "am", "breaths_done": "30"}
            for k in range(3)
            for d in range(1, 6)
        ],
    )
    return folder


def surrogate(clinic: Path, target: str = "keys", *more: str, code: int = 0) -> str:
    return run(
        "surrogate",
        clinic,
        "--crosswalk",
        clinic.parent / "who.jsonl",
        "--person",
        "family",
        "--person",
        "born",
        "--out",
        clinic.parent / target,
        *more,
        code=code,
    )


def all_bytes(folder: Path) -> bytes:
    return b"".join(p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file())


def test_the_files_written_pass_the_gate_and_name_nobody(clinic: Path) -> None:
    said = surrogate(clinic)
    written = all_bytes(clinic.parent / "keys")
    assert "dropped, telephone: phone" in said and "1 ages over 90 became 90" in said
    assert "dropped, not in the contract: rank" in said and "names the person: family, born" in said
    for name in (*NAMES["family"], *NAMES["born"], "7946"):
        assert name.encode() not in written and name not in said
    assert "15 would be kept" in run("check", clinic.parent / "keys")


def test_the_crosswalk_is_private_outside_and_stable(clinic: Path) -> None:
    surrogate(clinic)
    place = clinic.parent / "who.jsonl"
    before, keys = place.read_bytes(), all_bytes(clinic.parent / "keys")
    assert place.stat().st_mode & 0o777 == 0o600
    assert "0 people are new" in surrogate(clinic)
    assert (place.read_bytes(), all_bytes(clinic.parent / "keys")) == (before, keys)
    assert "inside the folder" in run(
        "surrogate", clinic, "--crosswalk", clinic.parent / "keys" / "w.jsonl", "--out", clinic.parent / "keys", code=2
    )


def test_another_file_is_never_taken_for_a_crosswalk(clinic: Path) -> None:
    place = clinic.parent / "who.jsonl"
    place.write_text("letters of mine\n")
    place.chmod(0o600)
    assert "not a crosswalk" in surrogate(clinic, code=2) and place.read_text() == "letters of mine\n"
    place.chmod(0o644)
    assert "chmod 600" in surrogate(clinic, code=2)


def test_a_file_without_the_columns_that_name_a_person_is_refused(clinic: Path) -> None:
    said = run("surrogate", clinic, "--crosswalk", clinic.parent / "w.jsonl", "--person", "mrn", code=3)
    assert "mrn" in said and not (clinic.parent / "w.jsonl").exists()


def test_maybe_two_people_are_held_back_whole_until_split(clinic: Path) -> None:
    rows = list(csv.DictReader((clinic / "clients.csv").open()))
    write(clinic / "clients.csv", [*rows, rows[0] | {"sex": "male", "age_years": "31"}])
    said = surrogate(clinic)
    key = said.split(": maybe two people (sex, age)")[0].split()[-1]
    assert key.encode() not in all_bytes(clinic.parent / "keys") and "left out, maybe two people: 5 rows" in said
    run("crosswalk", "split", key, "--by", "sex", "--crosswalk", clinic.parent / "who.jsonl")
    again = surrogate(clinic)
    assert "maybe two" not in again and "without the columns that tell: 5 rows" in again
    clients = pl.read_csv(clinic.parent / "keys" / "clients.csv")
    assert clients.height == 4 and key not in clients["client_key"].to_list()


def test_a_held_key_can_be_confirmed_and_a_person_withdrawn(clinic: Path) -> None:
    rows = list(csv.DictReader((clinic / "clients.csv").open()))
    write(clinic / "clients.csv", [*rows, rows[0] | {"age_years": "75"}])
    key = surrogate(clinic).split(": maybe two people")[0].split()[-1]
    run("crosswalk", "confirm", key, "--crosswalk", clinic.parent / "who.jsonl")
    surrogate(clinic)
    assert key.encode() in all_bytes(clinic.parent / "keys")
    run("crosswalk", "withdraw", key, "--crosswalk", clinic.parent / "who.jsonl")
    assert "consent withdrawn: 5 rows" in surrogate(clinic)
    assert key.encode() not in all_bytes(clinic.parent / "keys")


def test_a_transfer_gives_both_sites_one_key(clinic: Path) -> None:
    surrogate(clinic)
    other = clinic.parent / "harbour.jsonl"
    run("surrogate", clinic, "--crosswalk", other, "--person", "family", "--out", clinic.parent / "there")
    here = pl.read_csv(clinic.parent / "keys" / "episodes.csv").sort("from_on")["client_key"][0]
    there = pl.read_csv(clinic.parent / "there" / "episodes.csv").sort("from_on")["client_key"][0]
    run("crosswalk", "transfer", here, "--crosswalk", clinic.parent / "who.jsonl", "--to", other, "--as", there)
    run("surrogate", clinic, "--crosswalk", other, "--out", clinic.parent / "there")
    assert here in pl.read_csv(clinic.parent / "there" / "episodes.csv")["client_key"].to_list()


def test_offsets_hold_no_calendar_day(clinic: Path) -> None:
    surrogate(clinic, "keys", "--offsets")
    assert b"2025" not in all_bytes(clinic.parent / "keys")
    assert sorted(pl.read_csv(clinic.parent / "keys" / "tests.csv")["tested_on"].to_list()) == [8, 9, 10]


def who(clinic: Path, key: str) -> str:
    """Run `who` on a terminal of its own and return what it shows."""
    terminal, line = pty.openpty()
    words = [sys.executable, "-m", "pipeline", "who", key, "--crosswalk", str(clinic.parent / "who.jsonl")]
    subprocess.run(words, stdout=line, stderr=line, check=False, cwd=SAMPLE.parent)
    os.close(line)
    return os.read(terminal, 4096).decode()


def test_who_answers_on_a_terminal_only(clinic: Path) -> None:
    surrogate(clinic)
    key = pl.read_csv(clinic.parent / "keys" / "episodes.csv").sort("from_on")["client_key"][0]
    assert "family: mustermann; born: 1950-03-01" in who(clinic, key)
    assert "musterman" not in run("who", key, "--crosswalk", clinic.parent / "who.jsonl", code=2)
    assert "not in the crosswalk" in who(clinic, "Mustermann") and "Mustermann" not in who(clinic, "Mustermann")
