"""The stalled page: order, marks, panels, and what must not be in it."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace

from pipeline.report.clients import gathered
from pipeline.report.look import Look
from pipeline.report.sections_stalled import MOST_CARDS, others, whom
from pipeline.report.twins import stalled_csv
from pipeline.report.views import Worklist
from pipeline.report.words import catalogue
from pipeline.results import ResultSet
from tests.report import cohorts, made_clients
from tests.report.test_pages import made

META = cohorts.meta("internal")


def look(rows: list[object] | None = None) -> Look:
    given = tuple(made_clients.rows()) if rows is None else tuple(rows)
    return Look.at(ResultSet(given), ("stalled",), catalogue(), META)  # type: ignore[arg-type]


def worklist(at: Look) -> Worklist:
    return next(b for b in whom(at).blocks if isinstance(b, Worklist))


def test_only_falling_and_stalled_are_listed_in_the_order_of_checking() -> None:
    block = worklist(look())
    assert set(block.states) == {"falling", "stalled"}
    places = [int(c.place) for c in block.cards]
    assert places == sorted(places) and len(places) == 12


def test_nobody_vanishes() -> None:
    listed = len(worklist(look()).cards)
    rest = sum(b.blocks[0].html.count('scope="row"') for b in others(look()).blocks if hasattr(b, "blocks"))
    assert listed + rest == len(gathered(look())) == 28


def test_reasons_keep_their_three_marks() -> None:
    card = worklist(look()).cards[0]
    assert card.found[0].startswith("The test changed")
    assert card.not_found == ("too few tests", "eased settings") and card.not_recorded == ("other tester",)
    assert all(q.endswith("?") for q in card.questions)


def test_missing_series_say_so_and_keep_their_frame() -> None:
    rows = [r for r in made_clients.rows() if r.statistic not in ("effort", "weekly_adherence", "setting_in")]
    card = worklist(look(rows)).cards[0]
    for words in ("no ratings recorded", "nothing logged", "none recorded"):
        assert words in card.drawing


def test_a_week_without_a_log_has_no_bar() -> None:
    one = [r for r in made_clients.rows() if r.group.startswith("key-001")]
    bars = re.findall(r'<rect [^>]*fill="var\(--c1', worklist(look(one)).cards[0].drawing)
    assert len(bars) == len([r for r in one if r.statistic == "weekly_adherence"])


def test_no_client_key_in_an_id_or_address() -> None:
    page = made("full")["stalled.html"]
    assert "key-001-abcd" in page
    assert not re.search(r'(?:id|href|headers|aria-labelledby)="[^"]*key-\d', page)


def test_nobody_listed_is_a_sentence() -> None:
    calm = [replace(r, text="improving") if r.statistic == "state" else r for r in made_clients.rows()]
    assert not any(isinstance(b, Worklist) for b in whom(look(calm)).blocks)


def test_a_long_list_keeps_everybody_and_few_panels() -> None:
    rows = [replace(r, group=f"{r.group.replace('key-001', f'key-{i:04d}')}") for i in range(200)
            for r in made_clients.rows() if r.group.startswith("key-001")]
    block = worklist(look(rows))
    assert len(block.cards) == MOST_CARDS
    assert block.rest.count('scope="row"') == 200 - MOST_CARDS


def test_csv_twin_has_a_row_a_client() -> None:
    rows = list(csv.DictReader(io.StringIO(stalled_csv(look()))))
    assert len(rows) == 28 and rows[0]["client_key"] == "key-001-abcd"
    assert rows[0]["reasons_found"].count(";") == 1


def test_shared_edition_has_no_list() -> None:
    assert "stalled.html" not in made("suppressed")
    assert not any("key-0" in page for page in made("suppressed").values())
