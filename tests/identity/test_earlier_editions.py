"""Which hidden counts of earlier editions a new one must not give away: of each kind, and a quarter further back."""

from __future__ import annotations

import pytest

from pipeline.analyse.across import gathers
from pipeline.identity.audit import derivable_cells
from pipeline.identity.earlier_editions import Edition, repeated, ties
from pipeline.identity.shared_ledger import Before
from pipeline.identity.small_cells import ledger_of, protect
from pipeline.results import Partition, Result, ResultSet

LIMIT = 10
OLD, MIDDLE, NEW = "2026Q1", "2026Q2", "2026Q3"


def flow(kept: int, lost: int) -> ResultSet:
    """A step of the flow, who stays at the next, and who leaves before it."""
    all_of, some = (Result("quarter", "counted", "stay", f"pressure=mip;step={step}", at, n=n)
                    for step, at, n in (("course", 1.0, kept + lost), ("window12", 4.0, kept)))
    left = Result("quarter", "counted", "leave", "pressure=mip;step=window12;reason=any reason", 4.0, n=lost)
    return ResultSet((all_of, some, left), (Partition(all_of.key, (some.key, left.key)),))


def edition(number: int, quarter: str, results: ResultSet, *, only_sums: bool = False) -> Edition:
    shared = protect(results, LIMIT)
    ledger = ledger_of(results, shared, LIMIT)
    return Edition(number, quarter, number, shared, ledger.counts, ledger.cells, tuple(ledger.sums), only_sums)


def found(results: ResultSet, shared: ResultSet, before: Before) -> list[str]:
    """The hidden cells that an edition and those before it give away together."""
    ledger = ledger_of(results, shared, LIMIT, before)
    return [d.key for d in derivable_cells(ledger.cells, ledger.sums, LIMIT)]


SUMS = ResultSet((Result("common", "data", "people", n=50),))
ROWS, LATER = flow(35, 5), flow(35, 20)
FIRST = edition(1, MIDDLE, ROWS)
BETWEEN = {
    "nothing": [],
    "sums of the same quarter": [edition(2, MIDDLE, SUMS, only_sums=True)],
    "rows of the same quarter": [edition(2, MIDDLE, flow(52, 20))],
    "rows of a quarter before": [edition(2, OLD, flow(52, 20))],
    "rows of the same quarter and sums": [edition(2, MIDDLE, flow(52, 20)), edition(3, NEW, SUMS, only_sums=True)],
}


@pytest.mark.parametrize("between", BETWEEN.values(), ids=BETWEEN)
def test_hidden_counts_of_rows_stay_in_the_audit_whatever_was_written_since(between: list[Edition]) -> None:
    """55, 35 and 20 are all above ten; but the 35 who stayed are those of the first edition, where 5 of 40 left."""
    assert [r.n for r in FIRST.rows.rows] == [40, None, None]
    before = ties(LATER, [FIRST, *between], NEW, LIMIT, gathers)
    assert [k for k in found(LATER, LATER, before) if k.startswith(FIRST.cell(""))] != []
    shared = protect(LATER, LIMIT, before)
    assert found(LATER, shared, before) == [] and None in [r.n for r in shared.rows]


def test_hidden_counts_of_the_quarter_before_last_stay_in_the_audit() -> None:
    early = edition(1, OLD, ROWS)
    before = ties(LATER, [early, edition(2, MIDDLE, flow(36, 9))], NEW, LIMIT, gathers)
    shared = protect(LATER, LIMIT, before)
    assert [k for k in found(LATER, LATER, before) if k.startswith(early.cell(""))] != []
    assert found(LATER, shared, before) == []


def asked_for(**people: int) -> ResultSet:
    """Everybody, and what each was asked to come for."""
    total = Result("common", "data", "people", n=sum(people.values()))
    parts = [Result("quarter", "service", "referral", f"reason={k}", n=n) for k, n in people.items()]
    return ResultSet((total, *parts), (Partition(total.key, tuple(p.key for p in parts)),))


def test_two_counts_that_grew_by_a_few_take_a_third_with_them() -> None:
    """One and two came for a cough and swallowing: less the others, who are printed, three for both. That each is at
    least what was printed before proves nothing that could be hidden; that together they are three more does."""
    old = edition(1, MIDDLE, asked_for(breathlessness=242, cough=22, swallowing=32, voice=16))
    new = asked_for(breathlessness=306, cough=23, swallowing=34, voice=16)
    before = ties(new, [old], NEW, LIMIT, gathers)
    shared = protect(new, LIMIT, before)
    assert found(new, shared, before) == []
    assert {r.group for r in shared.rows if r.n is None} >= {"reason=cough", "reason=swallowing"}


@pytest.mark.parametrize(("n", "is_told"), [(9, True), (10, False)])
def test_a_figure_is_restated_only_as_the_edition_that_stands_printed_it(n: int, is_told: bool) -> None:
    """One person came late: the review made again counts ten, the edition that people were given nine."""
    gain = Result("quarter", "gains", "raw_gain_cmh2o", "pressure=mep", 12.0, n=9, value=8.8, unit="cmH2O")
    old = edition(1, MIDDLE, ResultSet((gain,)))
    rows = tuple(Result("quarter", "restated", s, f"of={gain.key}{cause}", n_people=n, n_of="numbers", value=8.1)
                 for s, cause in (("printed", ""), ("stands_now", ""), ("moved", ""), ("moved_by", ";cause=late")))
    assert repeated(ResultSet((gain, *rows)), [old], NEW).rows == ((gain, *rows) if is_told else (gain,))
