"""What the shared edition tells has too few digits to give a number of people back, and no day of one person."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.identity.few_digits import quarter_told, told
from pipeline.identity.small_cells import protect
from pipeline.results import Partition, Result, ResultSet
from tests.recover import numbers_of_people


def mean(value: float, unit: str = "cmH2O", **more) -> Result:
    return Result("quarter", "gains", "raw_gain_cmh2o", "all", value=value, unit=unit, **more)


@given(st.lists(st.integers(-40, 60), min_size=11, max_size=60))
def test_a_rounded_mean_fits_every_number_of_people(gains: list[int]) -> None:
    exact = sum(gains) / len(gains)
    row = told(mean(exact), has_lost_n=True)
    assert row.value is not None
    assert numbers_of_people(row.value, decimals=1, most=80) == list(range(10, 81))


def test_the_same_search_finds_the_number_behind_twelve_digits() -> None:
    """It can fail: 298 cmH2O over 21 people."""
    assert numbers_of_people(float(f"{298 / 21:.12g}"), decimals=10, most=40) == [21]


@pytest.mark.parametrize(("unit", "has_lost_n", "value"), [
    ("%", False, 71.0), ("%", True, 71.0), ("cmH2O", False, 71.4), ("weeks", False, 71.43), ("weeks", True, 71.4),
    ("cmH2O per unit", True, 71.43)])  # fmt: skip
def test_digits_by_unit(unit: str, has_lost_n: bool, value: float) -> None:
    row = told(mean(500 / 7, unit, low=1.23456, high=None), has_lost_n=has_lost_n)
    assert row.value == value and row.high is None


def test_what_was_given_keeps_its_digits() -> None:
    setting = Result("quarter", "made", "setting", "name=x", value=1.2345, unit="cmH2O/week")
    assert told(setting) == setting


def test_no_minus_before_a_rounded_zero() -> None:
    value = told(mean(-0.04)).value
    assert value == 0 and math.copysign(1, value) == 1


@pytest.mark.parametrize(("day", "quarter"), [
    ("2023-01-02", "2023Q1"), ("2026-12-31", "2026Q4"), ("day 0", "block-001"), ("day 91", "block-002"),
    ("day -3", "block-000"), ("no course yet", "no course yet"), ("2026Q3", "2026Q3")])  # fmt: skip
def test_a_day_is_told_as_its_quarter(day: str, quarter: str) -> None:
    assert quarter_told(day) == quarter


def test_no_row_of_a_shared_edition_names_the_first_day() -> None:
    rows = tuple(Result("common", "data", s, text=d) for s, d in
                 (("data_from_on", "2023-01-17"), ("data_until_on", "2026-09-28")))  # fmt: skip
    assert [r.text for r in protect(ResultSet(rows)).rows] == ["2023Q1", "2026Q3"]


def split(counts: dict[str, int], means: dict[str, float]) -> ResultSet:
    """The mean of everybody and of the groups, with a table of counts whose smallest group must be hidden."""
    whole = sum(counts[g] * means[g] for g in means) / sum(counts.values())
    rows = [mean(whole, n=sum(counts.values()))]
    rows += [Result("quarter", "gains", "raw_gain_cmh2o", g, n=counts[g], value=m, unit="cmH2O")
             for g, m in means.items()]
    return ResultSet(tuple(rows), (Partition(rows[0].key, tuple(r.key for r in rows[1:])),))


def test_the_means_of_all_groups_and_of_all_people_do_not_stand_together_beside_hidden_counts() -> None:
    """40 x 10.0 = n_a x 4 + (40 - n_a) x 14.2: the counts of both groups would follow from their means."""
    groups = split({"a": 16, "b": 24}, {"a": 4.0, "b": 14.2})
    small = [Result("quarter", "flow", "people", g, n=n) for g, n in (("all", 24), ("x", 8), ("b", 16))]
    tied = Partition(small[0].key, (small[1].key, small[2].key))
    out = protect(ResultSet((*groups.rows, *small),
                            (*groups.partitions, tied, Partition(groups.rows[2].key, (small[0].key,)),
                             Partition(groups.rows[1].key, (small[2].key,)))))
    told_means = {r.group: (r.n, r.value) for r in out.rows if r.section == "gains"}
    lost = [g for g in ("a", "b") if told_means[g][0] is None]
    assert lost and any(told_means[g][1] is None for g in lost)
    assert told_means["all"][1] is not None


def test_quantiles_whose_number_tells_the_people_go_with_the_count() -> None:
    quantiles = [Result("protocols", "believable", "client_quantile_cmh2o", "b", k, n=19, value=k, unit="cmH2O")
                 for k in (1.0, 2.0)]
    whole = [Result("quarter", "flow", "people", g, n=n) for g, n in (("all", 23), ("a", 4), ("b", 19))]
    sums = (Partition(whole[0].key, tuple(r.key for r in whole[1:])),)
    out = protect(ResultSet((*whole, *quantiles), sums))
    assert not [r for r in out.rows if r.section == "believable"]
    assert len(protect(ResultSet(tuple(quantiles))).rows) == 2


def test_an_error_and_its_degrees_of_freedom_go_with_the_count() -> None:
    model = [Result("protocols", "fitted", s, "b", n=19, value=v, unit=u, low=lo, high=hi) for s, v, u, lo, hi in
             (("mean_term", 12.3, "cmH2O per unit", 10.2, 14.4), ("mean_term_se", 1.0, "cmH2O per unit", None, None),
              ("mean_term_df", 17.4, "degrees of freedom", None, None))]  # fmt: skip
    whole = [Result("quarter", "flow", "people", g, n=n) for g, n in (("all", 23), ("a", 4), ("b", 19))]
    out = protect(ResultSet((*whole, *model), (Partition(whole[0].key, tuple(r.key for r in whole[1:])),)))
    assert [r.value for r in out.rows if r.section == "fitted"] == [12.3, None, None]


def test_a_part_that_is_counted_with_others_is_not_counted_elsewhere() -> None:
    """4 and 19 told as 23: the 19 beside a mean would give the 4 back."""
    whole = [Result("quarter", "flow", "people", g, n=n) for g, n in
             (("all", 53), ("site=a", 4), ("site=b", 19), ("site=c", 30))]  # fmt: skip
    beside = Result("quarter", "gains", "raw_gain_cmh2o", "site=b", n=19, value=7.0, unit="cmH2O")
    out = protect(ResultSet((*whole, beside), (Partition(whole[0].key, tuple(r.key for r in whole[1:])),)))
    found = {r.group: (r.n, r.text) for r in out.rows if r.section == "flow"}
    assert found["site=other or hidden"] == (23, "") and found["site=b"] == (None, "counted with others")
    assert (out.rows[-1].n, out.rows[-1].value) == (None, 7.0)


def test_how_many_more_tests_are_needed_is_told_in_tens() -> None:
    row = Result("common", "can_answer", "answer", "question=gain", value=23.0, unit="second tests")
    assert told(row).value == 30.0
