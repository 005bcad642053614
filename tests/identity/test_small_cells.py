"""Suppression hides 1 to 10 and what would give it back; the audit finds what a hand would miss."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from pipeline.analyse.across import sums_across
from pipeline.identity.audit import Audit, Cell, derivable_cells
from pipeline.identity.marks import CHANGED, PROTECTS, SAME, VAGUE, near_mark, small_mark, split_mark
from pipeline.identity.small_cells import blank, broken_sums, derivable_after, protect
from pipeline.results import Partition, Result, ResultSet


def count(group: str, n: int, statistic: str = "people", **more) -> Result:
    return Result("quarter", "flow", statistic, group, n=n, value=float(n), unit="people", **more)


def table(counts: dict[str, int]) -> ResultSet:
    rows = [count("all", sum(counts.values())), *(count(g, n) for g, n in counts.items())]
    return ResultSet(tuple(rows), (Partition(rows[0].key, tuple(r.key for r in rows[1:])),))


def marks(results: ResultSet) -> dict[str, str]:
    return {r.group: r.text for r in results.rows if r.n is None}


def test_one_small_part_takes_the_next_smallest_with_it():
    assert marks(protect(table({"a": 4, "b": 30, "c": 19}))) == {"a": small_mark(10), "c": PROTECTS}


def test_zero_is_shown_and_nothing_else_is_hidden():
    assert marks(protect(table({"a": 0, "b": 30, "c": 19}))) == {}


def test_two_parts_that_together_give_each_other_away_take_a_third():
    # 1 + 1 hidden beside a shown rest leaves only 1 and 1: the sum of the two is known to be 2
    hidden = marks(protect(table({"a": 1, "b": 1, "c": 40, "d": 25})))
    assert set(hidden) == {"a", "b", "d"}


def test_a_chain_of_sums_is_walked_until_nothing_can_be_derived():
    """A flow in steps: each step's stayers are the next step's total, so a hidden leaver ties all steps together."""
    steps = [("s1", 60), ("s2", 55), ("s3", 51)]
    rows = [count(g, n) for g, n in steps] + [count("l2", 5), count("l3", 4)]
    at = {r.group: r.key for r in rows}
    sums = (Partition(at["s1"], (at["s2"], at["l2"])), Partition(at["s2"], (at["s3"], at["l3"])))
    out = protect(ResultSet(tuple(rows), sums))
    assert derivable_after(ResultSet(tuple(rows), sums), out) == []
    assert {"l2", "l3", "s2"} <= set(marks(out))


def test_a_hidden_count_is_told_by_no_row_of_an_equal_ones_group():
    """85 of 90 stay; a gain says by a sum that it is of the same people, and other rows of its group are too."""
    total, stay, left = count("step=course", 90), count("step=baseline", 85), count("reason=any", 5)
    gains = [Result("quarter", "gains", "gain_cmh2o", "pressure=mep", at, n=85, value=9.87, low=8.1, high=11.6,
                    unit="cmH2O") for at in (12.0, 24.0)]  # fmt: skip
    tests = Result("protocols", "fitted", "tests", "pressure=mep", n=400, n_of="tests", n_people=85)
    sums = (Partition(total.key, (stay.key, left.key)), Partition(gains[0].key, (stay.key,)))
    out = protect(ResultSet((total, stay, left, *gains, tests), sums))
    assert [r.group for r in out.rows if 85 in (r.n, r.n_people)] == []


def test_a_small_total_is_not_split():
    assert marks(protect(table({"a": 2, "b": 3, "c": 0}))) == {
        "all": small_mark(10), "a": split_mark(10), "b": split_mark(10), "c": split_mark(10)}, "a 0 would narrow it"


def test_a_share_is_hidden_when_its_numerator_or_the_rest_is_small():
    row = Result("quarter", "x", "share", n=100, hits=95, value=95.0, unit="%")
    assert marks(protect(ResultSet((row,)))) == {"all": small_mark(10)}


def test_a_share_hidden_for_its_rest_does_not_contradict_the_sums():
    whole = count("all", 121)
    share = Result("quarter", "flow", "share", "a", n=121, hits=115, value=95.0, unit="%")
    rows = (whole, share, count("b", 6))
    sums = (Partition(whole.key, (share.key, rows[2].key)),)
    assert set(marks(protect(ResultSet(rows, sums)))) == {"a", "b"}


def test_the_same_count_of_the_same_group_is_hidden_wherever_it_stands():
    given_twice = table({"a": 4, "b": 30, "c": 19})
    twins = tuple(Result("protocols", "gain", "gain12", g, n=n, value=7.5, unit="cmH2O")
                  for g, n in (("b", 30), ("c", 19)))
    out = protect(given_twice + ResultSet(twins))
    assert out.rows[-1].n is None and out.rows[-1].value == 7.5, "a mean is no count: its n alone goes"
    assert out.rows[-2].n == 30


def test_the_number_beside_a_mean_goes_where_the_same_number_is_hidden_elsewhere():
    elsewhere = Result("protocols", "other", "mean", "any", n=19, value=7.5, unit="cmH2O")
    out = protect(table({"a": 4, "b": 30, "c": 19}) + ResultSet((elsewhere,)))
    assert out.rows[-1].n is None and out.rows[-1].value == 7.5


def test_a_number_of_analyses_stays_though_as_many_people_are_hidden():
    told = Result("protocols", "choices", "conclusion", "any", n=19, n_of="analyses", value=2.0, unit="analyses")
    mean = Result("protocols", "other", "mean", "any", n_of="analyses", n=3, n_people=19, value=7.5, unit="cmH2O")
    out = protect(table({"a": 4, "b": 30, "c": 19}) + ResultSet((told, mean)))
    assert (out.rows[-2].n, out.rows[-2].value) == (19, 2.0)
    assert out.rows[-1].n_people is None  # people behind it are people all the same


def test_what_a_share_says_of_its_total_is_hidden_with_the_total():
    """55 of 60 hidden for its rest: the total, its twin of another name, and the share that prints it go together."""
    course, stay, leave = count("course", 60), count("stay", 55), count("leave", 5)
    share = Result("quarter", "flow", "share", "other", n=55, hits=30, value=54.5, unit="%")
    sums = (Partition(course.key, (stay.key, leave.key)), Partition(stay.key, (share.key, "quarter.flow.rest[other]")))
    rest = Result("quarter", "flow", "rest", "other", n=55, hits=25, value=45.5, unit="%")
    out = protect(ResultSet((course, stay, leave, share, rest), sums))
    assert derivable_after(ResultSet((course, stay, leave, share, rest), sums), out) == []
    shown = {r.statistic: r.n for r in out.rows if r.group == "other"}
    assert out.rows[0].n is None or (out.rows[1].n is None and shown == {"share": None, "rest": None})


def test_the_share_without_an_outcome_does_not_print_a_hidden_baseline():
    """Its denominator is the people with a baseline: 36 less 1 who left, which no row may say."""
    def at(statistic: str, step: str, place: float, n: int) -> Result:
        return Result("protocols", "compared", statistic, f"pressure=mip;protocol=p;step={step}", place, n=n)
    stays = [at("stay", "course", 1, 36), at("stay", "baseline", 2, 35), at("stay", "window12", 4, 21)]
    leaves = [at("leave", "baseline;reason=any reason", 2, 1), at("leave", "window12;reason=any reason", 4, 14)]
    lacks = Result("protocols", "missing_outcome", "lacks_outcome", "pressure=mip;protocol=p", 12.0, n=35, hits=14,
                   value=40.0, unit="%")
    sums = (Partition(stays[0].key, (stays[1].key, leaves[0].key)),
            Partition(stays[1].key, (stays[2].key, leaves[1].key)), Partition(lacks.key, (leaves[1].key,)))
    rows = (*stays, *leaves, lacks)
    whole = ResultSet(rows, (*sums, *sums_across(rows)))
    out = protect(whole)
    shown = {r.statistic + r.group: r.n for r in out.rows}
    assert derivable_after(whole, out) == []
    assert shown["stay" + stays[0].group] is None or shown["lacks_outcomepressure=mip;protocol=p"] is None


@pytest.mark.parametrize("mark", [PROTECTS, CHANGED, VAGUE, SAME, near_mark(14, 10)])
def test_the_mean_of_a_few_people_is_gone_under_any_mark(mark):
    few = Result("quarter", "gains", "raw_gain", "a", n=5, value=18.8, low=1.0, high=30.0, unit="cmH2O")
    many = Result("quarter", "gains", "raw_gain", "b", n=15, value=18.8, unit="cmH2O")
    assert (blank(few, mark, 10).value, blank(few, mark, 10).low) == (None, None)
    assert (blank(many, mark, 10).value, blank(many, mark, 10).n) == (18.8, None)


def test_client_rows_never_leave():
    row = Result("stalled", "worklist", "state", "k3yk3yk3y", text="stalled", klass="client")
    assert protect(ResultSet((row,))).rows == ()


def test_sessions_by_few_people_are_hidden():
    row = Result("quarter", "safety", "stops", n=40, n_of="sessions", n_people=3, value=40.0)
    assert marks(protect(ResultSet((row,)))) == {"all": small_mark(10)}


@settings(max_examples=30, deadline=None)
@given(st.lists(st.lists(st.integers(1, 30), min_size=3, max_size=3), min_size=3, max_size=3), st.data())
def test_the_audit_of_a_crossed_table_agrees_with_linear_programs_over_the_whole_table(grid, data):
    """Rows and columns form rings: whatever is hidden, the answer is that of two programs for each hidden count."""
    hide = data.draw(st.sets(st.tuples(st.integers(0, 2), st.integers(0, 2)), min_size=1, max_size=6))
    places = list(product(range(3), repeat=2))
    cells = {f"{i}{j}": Cell(None if (i, j) in hide else grid[i][j], grid[i][j] <= 10) for i, j in places}
    cells |= {f"r{i}": Cell(sum(grid[i])) for i in range(3)}
    cells |= {f"c{j}": Cell(sum(line[j] for line in grid)) for j in range(3)}
    sums = [Partition(f"r{i}", tuple(f"{i}{j}" for j in range(3))) for i in range(3)]
    sums += [Partition(f"c{j}", tuple(f"{i}{j}" for i in range(3))) for j in range(3)]
    exact = exact_ranges(cells, sums, 10)
    wanted = {k for k, left in exact.items() if not cells[k].is_open(left, 10)}
    found = {d.key for d in derivable_cells(cells, sums, 10)}
    assert bool(found) == bool(wanted) and found <= wanted


def exact_ranges(cells: dict[str, Cell], sums: list[Partition], limit: int) -> dict[str, tuple[float, float]]:
    """Two linear programs a hidden cell, written down without the audit's own arrays."""
    names = list(cells)
    matrix = [[(k == s.total) - s.parts.count(k) for k in names] for s in sums]
    bounds = [(low, None if high == float("inf") else high) for low, high in (cells[k].start(limit) for k in names)]
    found = {}
    for place, key in enumerate(names):
        if cells[key].count is None:
            aim = [float(k == place) for k in range(len(names))]
            ends = [linprog([way * a for a in aim], A_eq=matrix, b_eq=[0.0] * len(sums), bounds=bounds)
                    for way in (1.0, -1.0)]
            found[key] = (ends[0].fun, -ends[1].fun if ends[1].status == 0 else float("inf"))
    return found


def test_what_was_shown_can_be_hidden_and_asked_again():
    audit = Audit({"t": Cell(24), "a": Cell(None, True), "b": Cell(20)}, [Partition("t", ("a", "b"))], 10)
    assert [d.key for d in audit.derivable()] == ["a"]
    audit.place_cell("b", Cell(None))
    assert audit.derivable() == []


def test_sums_that_contradict_each_other_are_found():
    cells = {"t": Cell(24), "a": Cell(None, True), "b": Cell(40)}
    assert [d.key for d in derivable_cells(cells, [Partition("t", ("a", "b"))], 10)] == ["a"]
    rows = (count("all", 24), count("a", 4), count("b", 40))
    assert broken_sums(ResultSet(rows, (Partition(rows[0].key, (rows[1].key, rows[2].key)),))) == [rows[0].key]


def test_the_audit_narrows_a_cell_as_an_exhaustive_search_does():
    cells = {"t": Cell(24), "a": Cell(None, True), "b": Cell(None, True), "c": Cell(12)}
    possible = [a for a, b in product(range(1, 11), repeat=2) if a + b + 12 == 24]
    found = {d.key: (d.low, d.high) for d in derivable_cells(cells, [Partition("t", ("a", "b", "c"))], 10)}
    assert found["a"] == pytest.approx((min(possible), max(possible)))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, 40), min_size=2, max_size=6))
def test_after_protection_the_audit_finds_nothing(parts):
    out = protect(table({f"g{i}": n for i, n in enumerate(parts)}))
    small = {r.key for r in out.rows if r.text == small_mark(10)}
    cells = {r.key: Cell(r.n, r.key in small) for r in out.rows}
    assert derivable_cells(cells, out.partitions, 10) == []


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, 40), min_size=2, max_size=6))
def test_no_small_count_is_shown(parts):
    out = protect(table({f"g{i}": n for i, n in enumerate(parts)}))
    assert all(r.n is None or r.n == 0 or r.n > 10 for r in out.rows)
