"""The internal edition hides small counts by site, and nothing else."""

from pipeline.identity.site_cells import with_few_of_a_site_hidden
from pipeline.results import Partition, Result, ResultSet


def row(statistic, group, n, **more):
    return Result("quarter", "sites", statistic, group, n=n, **more)


PEOPLE = [row("people", "all", 70), *(row("people", f"site={s}", n) for s, n in (("a", 4), ("b", 26), ("c", 40)))]
SUMS = (Partition(PEOPLE[0].key, tuple(r.key for r in PEOPLE[1:])),)


def hidden(*more):
    found = with_few_of_a_site_hidden(ResultSet((*PEOPLE, *more), SUMS))
    return {r.key: r for r in found.rows}


def test_a_small_site_and_one_beside_it_are_hidden_and_the_total_stays():
    found = hidden()
    assert found["quarter.sites.people[site=a]"].n is None
    assert found["quarter.sites.people[site=a]"].text == "hidden (n<11)"
    assert found["quarter.sites.people[site=b]"].n is None
    assert (found["quarter.sites.people[all]"].n, found["quarter.sites.people[site=c]"].n) == (70, 40)


def test_values_of_few_go_and_rows_without_a_site_stay():
    few = row("raw_gain_cmh2o", "site=a;pressure=mip", 4, value=3.0, unit="cmH2O", method="mean")
    other = Result("quarter", "gains", "raw_gain_cmh2o", "sex=other", n=4, value=3.0, unit="cmH2O", method="mean")
    person = Result("stalled", "worklist", "gain", "client-key-1;site=a", n=3, klass="client")
    found = hidden(few, other, person)
    assert found[few.key].value is None and found[few.key].n is None
    assert found[other.key] == other and found[person.key] == person
