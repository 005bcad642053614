"""A shared page says which small groups were put together and which splits are left out; one without them says so."""

from __future__ import annotations

from pipeline.identity.small_cells import protect
from pipeline.report import sections_people, sections_small
from pipeline.report.editions import pages
from pipeline.report.language import spoken
from pipeline.report.look import Look
from pipeline.report.views import Said
from pipeline.report.words import catalogue
from pipeline.results import Partition, Result, ResultSet
from tests.report import cohorts

AGES = ("18 to 39", "40 to 59", "60 to 79", "80 or over")


def people(group: str, n: int) -> Result:
    return Result("quarter", "who", "people", group, n=n)


def cohort(by_age: tuple[int, ...], by_sex: tuple[int, int]) -> ResultSet:
    """People of a quarter by age and sex, with their sums; the edition as it is shared."""
    whole = people("period=this", sum(by_age))
    ages = [people(f"period=this;age_band={a}", n) for a, n in zip(AGES, by_age, strict=True)]
    sexes = [people(f"period=this;sex={s}", n) for s, n in zip(("female", "male"), by_sex, strict=True)]
    sums = tuple(Partition(whole.key, tuple(r.key for r in parts)) for parts in (ages, sexes))
    return protect(ResultSet((whole, *ages, *sexes), sums))


LARGE, SMALL = cohort((30, 40, 50, 20), (70, 70)), cohort((8, 7, 6, 9), (27, 3))


def said(results: ResultSet, language: str = "en") -> list[str]:
    with spoken(language) as texts:
        look = Look.at(results, ("quarter",), texts, cohorts.meta("shared"))
        blocks = sections_small.small_groups(look, "quarter").blocks
    return [s for b in blocks if isinstance(b, Said) for s in b.sentences]


def test_a_large_service_reads_that_nothing_was_put_together_or_left_out() -> None:
    text = catalogue().entries
    assert said(LARGE)[1:] == [text["page.small_groups.none_together"], text["page.small_groups.none_left_out"]]


def test_a_small_service_reads_which_bands_were_put_together() -> None:
    told = said(SMALL)
    assert "Who trained or was tested this quarter? Age: 18 to 39 and 40 to 59 are counted as one group." in told
    assert "Who trained or was tested this quarter? Age: 60 to 79 and 80 or over are counted as one group." in told
    merged = {r.group: r.n for r in SMALL.rows if r.note.startswith("together: ")}
    assert merged == {"period=this;age_band=18 to 39, 40 to 59": 15, "period=this;age_band=60 to 79, 80 or over": 15}


def test_a_small_service_reads_which_split_is_left_out_and_why() -> None:
    left = [s for s in said(SMALL) if "Left out" in s]
    assert left == ["Who trained or was tested this quarter? Left out: Sex."]
    assert "whose groups are all too small or would give a small one back" in said(SMALL)[0]


def test_reasons_put_together_are_named() -> None:
    row = Result("quarter", "counted", "leave", "pressure=mip;step=baseline;reason=other or hidden", 2, n=14,
                 note="together: no_test, only_later_tests")
    assert "Who is in the figures on pressure, who is not, and why? Reason: no test at all and tests only after the " \
        "baseline window are counted as one group." in said(ResultSet((row,)))


def test_a_group_put_together_in_one_period_is_no_zero_in_the_others() -> None:
    look = Look.at(SMALL, ("quarter",), catalogue(), cohorts.meta("shared"))
    assert "not put together" in str(sections_people.who(look).blocks)
    large = Look.at(LARGE, ("quarter",), catalogue(), cohorts.meta("shared"))
    assert "not put together" not in str(sections_people.who(large).blocks)


def test_only_the_shared_pages_have_the_section() -> None:
    for edition in ("internal", "shared"):
        made = pages(cohorts.full(), cohorts.meta(edition))
        for name in ("quarter", "protocols"):
            assert ('id="small_groups"' in made[f"{name}.html"]) == (edition == "shared")


def test_german_says_it_in_german() -> None:
    assert any("60 bis 79 und 80 oder älter sind als eine Gruppe gezählt" in s for s in said(SMALL, "de"))
