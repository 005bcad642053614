"""The README's section, tried as a new user would: from an unmapped workbook, and from the template, to a page."""

from __future__ import annotations

import datetime as dt
import random
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipeline.cli import main
from pipeline.ingest.template import WORKBOOK, write_filled
from pipeline.ingest.workbook_out import Sheet, write_workbook
from pipeline.simulate import generate
from tests.readme import README


def commands() -> list[list[list[str]]]:
    """Return the command blocks of the section, each a list of commands as words."""
    section = README.read_text(encoding="utf-8").split("## Bring your own files")[1].split("\n## ")[0]
    blocks = re.findall(r"```\n(.*?)```", section, re.DOTALL)
    return [[line.split()[1:] for line in block.splitlines() if line.startswith("rmt-outcomes")] for block in blocks]


def clinic(path: Path) -> None:
    """Write a workbook as a clinic might have it: titles, words of its own, kPa, decimal commas, ticks."""
    chance = random.Random(1)
    people = [["Our people"], [None], ["Patient ID", "Sex", "Age", "Height (m)", "Clinic", "Programme", "Start date"]]
    tests = [["Person", "Date", "MIP 1 (kPa)", "MIP 2 (kPa)", "MIP 3 (kPa)", "Position"]]
    weeks = [["Person", "Week of", "Diary returned", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun", "Effort"]]
    for _ in range(30):
        key = "".join(chance.choices("abcdefghjkmnpqrstuvwxyz23456789", k=12))
        start = dt.date(2026, 1, 5) + dt.timedelta(days=chance.randrange(60))
        people.append([key, chance.choice("fm"), str(chance.randint(40, 85)), f"1,{chance.randint(50, 95)}", "North",
                       "steady", f"{start:%d.%m.%Y}"])
        for week in (0, 6, 12):
            told = [f"{chance.uniform(4, 9):.1f}".replace(".", ",") for _ in range(3)]
            tests.append([key if week == 0 else None, f"{start + dt.timedelta(weeks=week):%d.%m.%Y}", *told, "sitting"])
        weeks += [[key, f"{start + dt.timedelta(weeks=w):%d.%m.%Y}", "yes", *(chance.choice(("x", None))
                   for _ in range(7)), "6"] for w in range(12)]
    write_workbook(path, [Sheet("People", people), Sheet("Pressures", tests), Sheet("Diaries", weeks)])


def settle(path: Path) -> None:
    """Do what the draft asks for: fill in the one thing that the file does not say, and take the questions out."""
    text = path.read_text(encoding="utf-8").replace('# episode_no = "?"', "episode_no = 1")
    text = re.sub(r"open_questions = \[.*?\n\]", "open_questions = []", text, flags=re.DOTALL)
    path.write_text(text, encoding="utf-8")


def run(words: list[str]):
    return CliRunner().invoke(main, words)


@pytest.fixture
def here(tmp_path, monkeypatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_an_unmapped_workbook_comes_to_a_page_in_five_commands_or_fewer(here):
    (here / "exports").mkdir()
    clinic(here / "exports" / "book.xlsx")
    _, (suggest, check, review) = commands()
    assert run(suggest).exit_code == 0
    draft = here / "clinic.map.toml"
    assert run(check).exit_code == 2  # the questions are open: nothing is applied unseen
    settle(draft)
    told = run(check)
    assert told.exit_code == 0, told.output
    assert "book.xlsx#People (episodes): 30 rows read, 30 would be kept" in told.output
    assert "book.xlsx#Pressures: 270 rows read, 270 would be kept" in told.output
    told = run(review)
    assert (here / "out" / "internal" / "quarter.html").is_file(), told.output


@pytest.mark.slow
def test_the_template_is_two_commands(here):
    template, review = commands()[0]
    assert run(template).exit_code == 0
    whole = generate().tables  # typed in by hand, as it were: thirty people with their rows
    keys = whole["clients"]["client_key"].drop_nulls().unique().sort().gather_every(14)
    people = keys.to_frame()
    typed = {n: t.join(people, on="client_key", maintain_order="left") if "client_key" in t.columns else t
             for n, t in whole.items() if n != "reviews"}  # a sheet left empty is passed over
    (here / "my_clinic" / WORKBOOK).unlink()
    write_filled(here / "my_clinic" / WORKBOOK, typed)
    told = run(review)
    assert (here / "out" / "internal" / "quarter.html").is_file(), told.output
