"""Editions from sums beside editions from rows of the same service: none gives a hidden count of the other away."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import polars as pl
import pytest

from pipeline import stages_report
from pipeline.identity.audit import derivable_cells
from pipeline.identity.earlier_editions import Edition, moves, moves_of_both, repeated
from pipeline.identity.small_cells import protect
from pipeline.report.views import PageMeta
from pipeline.results import Result, ResultSet
from pipeline.settings import Settings
from pipeline.stages import Summary
from pipeline.stages_editions import Shared, keep, shared_edition
from pipeline.store import edit_store
from tests.attack import LIMIT, Attack, read, within
from tests.attack_unknowns import Unknowns
from tests.only_sums import of_sums
from tests.small_services import QUARTERS, Written, load, nothing, one_quarter, service, tables
from tests.some_people import write
from tests.test_two_editions import given_away


def edition_of_sums(out: Path, quarter: str) -> Shared:
    """Analyse a quarter, and put the shared edition on record that sums alone would give."""
    stages_report.analyse(out, Settings(), quarter, Summary("analyse"), nothing)
    with edit_store(out / "store.duckdb") as store:
        results, _ = stages_report.read_results(store)
        meta = PageMeta("internal", quarter, "2026-09-30", "settings", "data", "0", "command", only_sums=True)
        shared = shared_edition(store, of_sums(results), meta, LIMIT)
        keep(store, shared, LIMIT)
    return shared


@dataclass(frozen=True)
class Street:
    """Two quarters of a service, each from rows and from sums; one person's rows came after the first quarter."""

    rows: Written
    sums: Shared
    rows_again: Written
    late_sums: Shared
    late_rows: Written
    next_sums: Shared
    next_rows: Written


@pytest.fixture(scope="module", params=[20, 40])
def street(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Street:
    base = tmp_path_factory.mktemp("street")
    whole, out = tables(service(request.param), 1), base / "out"
    late = pl.col("client_key") == whole["clients"]["client_key"][-1]
    early = {n: t.filter(~late) if "client_key" in t.columns else t for n, t in whole.items()}
    first, second = QUARTERS
    load(write(early, base / "early"), out)
    before = one_quarter(out, first), edition_of_sums(out, first), one_quarter(out, first)
    load(write(whole, base / "whole"), out)
    return Street(*before, edition_of_sums(out, first), one_quarter(out, first),
                  edition_of_sums(out, second), one_quarter(out, second))


@pytest.mark.slow
def test_each_kind_has_its_own_place_on_record(street: Street) -> None:
    assert [street.rows.shared.edition_no, street.sums.edition_no, street.rows_again.shared.edition_no] == [1, 2, 1]
    assert street.rows_again.shared.rows.rows == street.rows.shared.rows.rows
    assert 0 < len(street.sums.rows.rows) < len(street.rows.shared.rows.rows)


@pytest.mark.slow
def test_no_hidden_count_can_be_derived(street: Street) -> None:
    for made in (street.rows.shared, street.sums, street.next_sums, street.next_rows.shared):
        assert made.ledger is not None
        assert derivable_cells(made.ledger.cells, made.ledger.sums, LIMIT) == []


def pinned(by_rows: Written, by_sums: ResultSet) -> list[str]:
    """The small counts of an edition of rows that an integer solver narrows beside one of sums, of the same people."""
    known, printed = Unknowns(), {r.key for r in by_rows.shared.rows.rows}
    for name, rows in (("rows", list(by_rows.shared.rows.rows)), ("sums", list(by_sums.rows))):
        read(rows, name, known)
        within(rows, name, known)
    for row in by_sums.rows:
        if row.key in printed:
            known.add(f"sums|{row.key}", [f"rows|{row.key}"])
    left = {k: ends for group in Attack(known).groups for k, ends in group.ranges().items()}
    true = {f"rows|{r.key}": r.n if r.n_of == "people" else r.n_people for r in by_rows.results.rows}
    small = [k for k in left if 1 <= (true.get(k) or 0) <= LIMIT]
    assert len(small) > 100
    return [k for k in small if left[k][0] > 1 or left[k][1] < LIMIT]


@pytest.mark.slow
def test_an_integer_solver_pins_no_small_count_of_the_two_kinds(street: Street) -> None:
    assert pinned(street.rows, street.sums.rows) == []
    assert pinned(street.next_rows, street.next_sums.rows) == []


@pytest.mark.slow
def test_sums_between_two_editions_of_rows_push_no_hidden_count_out_of_the_audit(street: Street) -> None:
    assert given_away([street.rows, street.next_rows]) == []


@pytest.mark.slow
def test_the_solver_does_pin_counts_beside_sums_made_alone(street: Street) -> None:
    alone = [protect(of_sums(by_rows.results), LIMIT) for by_rows in (street.rows, street.next_rows)]
    assert pinned(street.rows, alone[0]) + pinned(street.next_rows, alone[1]) != []


@pytest.mark.slow
def test_a_late_person_is_told_by_neither(street: Street) -> None:
    for late, first in ((street.late_sums, street.sums), (street.late_rows.shared, street.rows.shared)):
        assert late.rows.rows == first.rows.rows and late.ledger is None
        assert "stands as first written" in late.said[0]


@pytest.mark.slow
def test_last_quarter_is_what_the_edition_of_rows_printed(street: Street) -> None:
    old = {r.key: r for r in street.rows.shared.rows.rows}
    again = [r for r in street.next_rows.shared.rows.rows if "period=last" in r.group.split(";")]
    assert len(again) > 50
    for row in again:
        was = old[row.key.replace("period=last", "period=this")]
        assert (row.n, row.value, row.text) == (was.n, was.value, was.text)


def an_edition(*rows: Result, only_sums: bool) -> Edition:
    counts = {r.key: r.n for r in rows if r.n is not None}
    return Edition(1, QUARTERS[0], 1, ResultSet(rows), counts, {}, (), only_sums)


def test_an_edition_of_sums_says_nothing_of_last_quarter() -> None:
    last = Result("quarter", "who", "people", "period=last", n=40)
    people = Result("common", "data", "people", n=50)
    results = ResultSet((last, people))
    for only_sums, wanted in ((True, (last, people)), (False, (people,))):
        assert repeated(results, [an_edition(people, only_sums=only_sums)], QUARTERS[1]).rows == wanted


def test_only_what_both_kinds_have_counts_as_moved() -> None:
    people, trained = Result("common", "data", "people", n=50), Result("quarter", "who", "people", "period=this", n=40)
    whole, sums = an_edition(people, trained, only_sums=False), ResultSet((people,))
    assert moves(sums, whole) == {trained.key: -40} and moves_of_both(sums, whole) == {}
    fewer = ResultSet((Result("common", "data", "people", n=47),))
    assert moves_of_both(fewer, whole) == {people.key: -3}


def test_an_edition_is_compared_with_the_last_of_either_kind(tmp_path: Path) -> None:
    """115 people are 15 more than the edition of rows printed, and 3 more than the one of sums did since."""
    with edit_store(tmp_path / "store.duckdb") as store:
        store.execute("create schema if not exists settings; create schema if not exists results")
        told = []
        for batch, people, only_sums in ((1, 100, False), (2, 112, True), (3, 115, False), (4, 130, False)):
            store.execute(f"create or replace table settings.current as select {batch} as as_of_batch")
            meta = PageMeta("internal", QUARTERS[0], "2026-09-30", "settings", "data", "0", "command",
                            only_sums=only_sums)
            made = shared_edition(store, ResultSet((Result("common", "data", "people", n=people),)), meta, LIMIT)
            keep(store, made, LIMIT)
            told.append((made.edition_no, made.rows.rows[0].n, len(made.said)))
    assert told == [(1, 100, 0), (2, 112, 0), (1, 100, 1), (3, 130, 0)]
