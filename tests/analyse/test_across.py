"""No count is given away beside another: sums between sections, and numbers of people that say only what they may."""

from itertools import pairwise

import polars as pl
import pytest

from pipeline.analyse.across import sums_across, without
from pipeline.analyse.common import FEW, Section, counting
from pipeline.analyse.training import LAST_WEEK, at_most, steady_counts
from pipeline.results import parts_of


def test_groups_are_read_and_cut():
    assert parts_of("pressure=mip;protocol=x") == {"pressure": "mip", "protocol": "x"}
    assert parts_of("all") == {}
    assert without("pressure=mip;protocol=x", "protocol") == "pressure=mip"


def test_the_flow_of_all_is_tied_to_the_flows_of_the_protocols(results, by_key):
    sums = {s.total: s.parts for s in sums_across(results.rows) if any("protocol=" in k for k in s.parts)}
    for pressure in ("mip", "mep"):
        for step, at in (("course", 1), ("baseline", 2), ("window12", 4)):
            total = f"quarter.counted.stay[pressure={pressure};step={step}]@{at}"
            parts = sums[total]
            taken = [k for k in parts if k.startswith("protocols.compared.stay")]
            assert len(taken) == 3 and all(k in taken or k.startswith("protocols.plan.left_out") for k in parts)
            assert by_key[total].n == sum(by_key[k].n for k in parts)


@pytest.mark.parametrize(
    ("known", "of", "n"), [(70, 79, 79), (79, 79, 79), (60, 79, 60), (5, 9, 5), (70, None, 70), (69, 80, 69)]
)
def test_a_handful_without_a_value_cannot_be_subtracted(known, of, n):
    fields = counting(known, of)
    assert fields["n"] == n
    assert ("n_of" in fields) == (of is not None and n == of != known)


def test_a_median_beside_its_group_does_not_tell_who_lacks_it():
    section = Section("quarter", "dose")
    values = pl.Series([50.0] * 30 + [None] * 3)
    row = section.median("session_adherence_pct", "period=this", values, "%", of=33)
    assert (row.n, row.n_of, row.n_people) == (33, "people, a few without a value", 33)


def test_weekly_counts_never_differ_by_a_handful():
    people = [100 - 3 * w for w in range(LAST_WEEK)]
    weeks = pl.DataFrame({
        "week": [w + 1 for w, n in enumerate(people) for _ in range(n)],
        "client_key": [f"person-{k:03d}" for n in people for k in range(n)],
    })
    shown = list(steady_counts(weeks).values())
    drops = [a - b for a, b in pairwise(shown)]
    assert all(d == 0 or d > FEW for d in drops)
    assert all(0 <= s - n <= FEW for s, n in zip(shown, people, strict=True))
    assert at_most(7, 9) == {} and at_most(90, 95)["n"] == 95
