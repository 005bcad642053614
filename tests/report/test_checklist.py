"""The table of reporting guidelines: every link leads somewhere, and what it says follows from what the pages hold."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

import pytest

from pipeline.report.editions import PAGES, SECTIONS, pages
from pipeline.report.language import catalogue
from pipeline.report.look import Look
from pipeline.report.reporting_items import GUIDELINES, STROBE, Item
from pipeline.report.sections_checklist import MET, RESULTS_OF, Standing, standing, text_key
from pipeline.results import Result, ResultSet
from tests.report import cohorts
from tests.report.test_pages import COHORTS, read

EVERY = [(name, item) for name, items in GUIDELINES.items() for item in items]
GO = re.compile(r'class="go" href="([^"]+)"')
LINK = re.compile(r'<a [^>]*href="([^"]+)"')


@lru_cache(maxsize=8)
def made(cohort: str, language: str) -> dict[str, str]:
    meta = cohorts.meta("shared" if cohort == "suppressed" else "internal")
    return pages(getattr(cohorts, cohort)(), type(meta)(**{**vars(meta), "language": language}))


def look(results: ResultSet) -> Look:
    return Look.at(results, ("common", "protocols"), catalogue(), cohorts.meta("internal"))


def of(results: ResultSet, key: str, guideline: str = "strobe") -> Standing:
    item = next(i for i in GUIDELINES[guideline] if i.key == key)
    return standing(guideline, item, look(results))


def without(drop: Callable[[Result], bool]) -> ResultSet:
    return ResultSet(tuple(r for r in cohorts.full().rows if not drop(r)))


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("cohort", COHORTS)
def test_every_link_of_every_page_leads_somewhere(cohort: str, language: str) -> None:
    edition = made(cohort, language)
    ids = {name: set(read(page).ids) for name, page in edition.items()}
    for name, page in edition.items():
        for target in LINK.findall(page):
            file, _, place = target.partition("#")
            assert (file or name) in edition, f"{name} -> {target}"
            assert not place or place in ids[file or name], f"{name} -> {target}"


def test_every_link_of_the_sample_leads_somewhere(sample_review: tuple[Path, object]) -> None:
    for edition in ("internal", "shared"):
        pages_of = {p.name: p.read_text(encoding="utf-8") for p in (sample_review[0] / edition).glob("*.html")}
        ids = {name: set(re.findall(r' id="([^"]+)"', text)) for name, text in pages_of.items()}
        targets = {(name, t) for name, text in pages_of.items() for t in LINK.findall(text)}
        astray = [(name, t) for name, t in sorted(targets)
                  if (t.partition("#")[0] or name) not in pages_of
                  or (t.partition("#")[2] and t.partition("#")[2] not in ids[t.partition("#")[0] or name])]
        assert len(targets) > 60 and astray == []


def test_the_full_page_links_to_many_places_and_both_other_pages() -> None:
    for cohort in ("full", "suppressed"):
        text = made(cohort, "en")["protocols.html"]
        links = set(GO.findall(text))
        assert len(links) > 20 and {t.partition("#")[0] for t in links} == {"", "quarter.html", "index.html"}


def test_the_places_are_sections_of_pages_that_every_edition_has() -> None:
    known = {f"{page}#{section.id}" for page in set(PAGES["internal"]) & set(PAGES["shared"])
             for section in SECTIONS[page]} | {"protocols#first"}  # fmt: skip
    assert {p for _, item in EVERY for p in item.places + item.more} <= known
    assert set(RESULTS_OF) <= known


def test_no_place_that_answers_is_empty_on_the_page() -> None:
    for cohort in COHORTS:
        edition = made(cohort, "en")
        for target in GO.findall(edition["protocols.html"]):
            file, _, place = target.partition("#")
            text = edition[file or "protocols.html"]
            found = re.search(rf'<section id="{place}"[^>]*>\n<h2[^>]*>.*?</h2>\n(.*)', text)
            assert place == "first" or (found and '"said empty"' not in found.group(1)), f"{cohort}: {target}"


def test_each_guideline_has_all_its_items() -> None:
    def numbers(name: str) -> list[int]:
        return list(dict.fromkeys(int(m.group()) for i in GUIDELINES[name] if (m := re.match(r"\d+", i.key))))

    assert numbers("strobe") == list(range(1, 23))
    assert [i.key for i in STROBE if i.key[-1].isalpha()] == [
        "1a", "1b", "6a", "6b", "12a", "12b", "12c", "12d", "12e", "13a", "13b", "13c", "14a", "14b", "14c", "16a",
        "16b", "16c"]  # fmt: skip
    assert len(GUIDELINES["record"]) == 13
    assert numbers("cert") == list(range(1, 17)) and len(GUIDELINES["cert"]) == 19
    assert numbers("target") == list(range(1, 22))


@pytest.mark.parametrize(("name", "item"), EVERY, ids=lambda v: getattr(v, "key", v))
def test_texts_say_what_a_row_may_need(name: str, item: Item) -> None:
    entries, stem = catalogue().entries, text_key(name, item)
    assert entries[stem].split(" ")[0] == item.key
    assert f"{stem}_asks" in entries
    assert (f"{stem}_without" in entries) == bool(item.needs)
    assert not item.needs or item.needs in MET
    assert not item.absent or f"{stem}_left" in entries


def test_no_text_stands_idle() -> None:
    stems = {text_key(name, item) for name, item in EVERY}
    tails = ("", "_asks", "_left", "_without", "_from")
    known = {s + t for s in stems for t in tails}
    known |= {f"checklist.{g}.{t}" for g in GUIDELINES for t in ("title", "caption")}
    assert {k for k in catalogue().entries if k.startswith("checklist.")} <= known


def test_a_plan_answers_and_its_absence_is_said() -> None:
    full, bare = cohorts.full(), without(lambda r: r.section == "plan")
    assert of(full, "3").status == "here" and of(full, "3").places == ("protocols#plan",)
    assert of(bare, "3").status == "person" and "No plan" in of(bare, "3").left
    assert of(full, "22").status == "in_part" and of(bare, "22").status == "person"
    unfunded = without(lambda r: r.group == "item=funding")
    assert of(unfunded, "22").status == "person" and of(unfunded, "3").status == "here"
    unapproved = without(lambda r: r.group == "item=ethics")
    assert of(full, "17", "target").status == "here" and of(unapproved, "17", "target").status == "person"
    assert "protocols#plan" in of(full, "6a").places and "protocols#plan" not in of(bare, "6a").places


def test_sensitivity_follows_the_gate() -> None:
    closed = without(lambda r: r.section == "choices")
    assert of(cohorts.full(), "12e").status == "here"
    assert of(closed, "12e").status == "person" and "gate" in of(closed, "12e").left
    primary_alone = without(lambda r: r.section == "choices" and "kind=primary" not in r.group)
    assert of(primary_alone, "12e").status == "person"
    asked_for_nothing = without(lambda r: "kind=post hoc" in r.group)
    assert of(cohorts.full(), "12b").status == "here" and of(asked_for_nothing, "12b").status == "in_part"


def test_drop_out_is_answered_by_its_own_analyses() -> None:
    undone = without(lambda r: "kind=drop-out" in r.group)
    assert of(cohorts.full(), "12d").places[-1] == "protocols#choices" and of(cohorts.full(), "12d").status == "here"
    assert of(undone, "12d").status == "in_part" and "drop-out" in of(undone, "12d").left


def test_missing_data_have_no_place_where_nothing_is_shown() -> None:
    places = {"missing_outcome", "records", "balance"}
    bare = without(lambda r: r.section in places)
    assert of(cohorts.full(), "12c").status == "in_part" and of(bare, "12c").status == "empty"
    assert of(bare, "12c").places == ()


def test_what_the_training_lacks_is_a_persons() -> None:
    known = without(lambda r: r.statistic == "not_recorded")
    assert of(cohorts.full(), "7a", "cert").status == "person" and of(known, "7a", "cert").status == "here"


def test_the_summary_counts_the_lines() -> None:
    for name, items in GUIDELINES.items():
        title = catalogue().entries[f"checklist.{name}.title"]
        said = re.search(rf"<summary>{title}; ([^<]*)</summary>", made("full", "en")["protocols.html"])
        assert said and sum(int(n) for n in re.findall(r"\d+", said.group(1))) == len(items)
