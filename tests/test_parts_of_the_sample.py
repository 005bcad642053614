"""Cohorts cut from the sample, whatever their size and mix, get a shared edition that is safe and still of use."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.identity.small_cells import derivable_after
from pipeline.report import SECTIONS
from pipeline.report.editions import pages
from pipeline.settings import Settings
from tests import some_people
from tests.small_services import Written, load, one_quarter

pytestmark = pytest.mark.slow

QUARTER = "2026Q3"
LIMIT = 10
PARTS = {"every 3rd": (0, None, 3), "every 4th": (1, None, 4), "every 5th": (2, None, 5), "every 7th": (0, None, 7),
         "22 people": (0, 22, 1), "14 people": (0, 14, 1),
         "12 people": (0, 12, 1)}  # fmt: skip
LENIENT = Settings(set_aside_max_pct=90)
"""Among few people the sample's planted faults are a large share of the rows."""


@pytest.fixture(scope="module", params=PARTS)
def part(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[int, Written]:
    """How many people a part of the sample has, and its review; AuditFailed, exit 6, would end it here."""
    keys = some_people.keys()[slice(*PARTS[request.param])]
    base: Path = tmp_path_factory.mktemp("part")
    load(some_people.write(some_people.tables_of(keys), base / "in"), base / "out", LENIENT)
    return len(keys), one_quarter(base / "out", QUARTER)


def test_the_edition_is_safe_and_says_how_many_people_there_are(part: tuple[int, Written]) -> None:
    _, written = part
    shared = written.shared.rows
    assert derivable_after(written.results, shared) == []
    told, whole = ({r.key: r.n for r in rows} for rows in (shared.rows, written.results.rows))
    everybody = whole["common.data.people[all]"]
    assert everybody is not None
    assert told["common.data.people[all]"] == (everybody if everybody > LIMIT else None)


def test_the_edition_is_of_use(part: tuple[int, Written]) -> None:
    """Even twelve people have more than a hundred numbers besides settings and published values."""
    people, written = part
    numbers = [r for r in written.shared.rows.rows if (r.n is not None or r.value is not None)
               and r.statistic != "setting" and not r.statistic.startswith("sham")]  # fmt: skip
    assert len(numbers) > (100 if people <= 12 else 200)


def test_its_pages_say_what_is_put_together_or_left_out(part: tuple[int, Written]) -> None:
    people, written = part
    made = pages(written.shared.rows, written.shared.meta)
    assert {"index.html", "quarter.html", "protocols.html"} <= set(made)
    assert all(f'id="{s.id}"' in made["quarter.html"] for s in SECTIONS["quarter"])
    assert people > 22 or "Left out: " in made["quarter.html"]
    merged = any(r.note.startswith("together: ") for r in written.shared.rows.rows)
    assert merged == ("counted as one group" in made["quarter.html"] + made["protocols.html"])
