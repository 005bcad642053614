"""A translation is one file: the same keys and blanks as English, numbers and days as its readers write them, and no
English words left over. What is missing is listed by name."""

from __future__ import annotations

import re
import shutil
import tomllib
from dataclasses import fields, replace
from functools import lru_cache
from pathlib import Path

import pytest

from pipeline import assets
from pipeline.errors import SettingsError
from pipeline.report.editions import one_page, pages
from pipeline.report.language import catalogue, own_texts, spoken
from pipeline.report.look import parts_of
from pipeline.report.views import ONE_PAGE
from pipeline.report.words import MINUS, NARROW_GAP, day_name, number, quarter_days, reach
from pipeline.settings import Settings
from tests.conftest import SAMPLE
from tests.report import cohorts
from tests.report.prose import lines
from tests.report.sample_pages import EACH, edition_of
from tests.report.test_numbers import allowed, numbers_in, printed_always, with_points

OTHERS = [code for code in assets.languages() if code != "en"]
BLANKS = re.compile(r"\{(\w*)\}")
#: Laws, items of checklists (a number, then its name) and the words of sources.
HAS_POINTS = re.compile(r"CFR|^\d+\.\d \w|\d{4},|n=\d|PMC|: 12\.34")
#: Common English words that no German sentence holds.
ENGLISH = re.compile(r"\b(the|of|and|with|were|is|are|not|no|by|from|than|each|people|weeks|tests of|for|to|few|hidden|"
                     r"yes|first)\b")
#: What stays English on purpose: own words of a plan, formulas, file and table names, and the titles of sources.
KEPT = re.compile(
    r"[~_=]|\.(?:csv|json|toml)|et al|\d{4};|PMC\d|abstract|rmt-outcomes|NIST|CFR|[Pp]ublished|post-COVID")


@lru_cache(maxsize=4)
def made(cohort: str, language: str) -> dict[str, str]:
    meta = cohorts.meta("shared" if cohort == "suppressed" else "internal")
    results, meta = getattr(cohorts, cohort)(), replace(meta, language=language)
    given = {f"{name}.html": one_page(name, results, replace(meta, edition="shared")) for name in ONE_PAGE}
    return pages(results, meta) | given


@pytest.mark.parametrize("code", OTHERS)
def test_has_every_text_of_english_and_no_other(code: str) -> None:
    english, other = own_texts("en").entries, own_texts(code).entries
    lacking = [f"{key} = {text}" for key, text in english.items() if key not in other]
    assert lacking == [], f"{len(lacking)} texts have no translation in reports/languages/{code}.toml"
    assert [key for key in other if key not in english] == [], "these texts of the translation are asked for no more"


@pytest.mark.parametrize("code", OTHERS)
def test_has_the_same_blanks(code: str) -> None:
    english, other = own_texts("en").entries, own_texts(code).entries
    assert [key for key in english if sorted(BLANKS.findall(english[key]))
            != sorted(BLANKS.findall(other.get(key, english[key])))] == []
    assert [p for p, said in catalogue(code).phrases.items() if p.count("#") != said.count("#")] == []


def test_numbers_and_days_follow_the_reader() -> None:
    with spoken("de"):
        assert number(-12345.6, 1) == f"{MINUS}12{NARROW_GAP}345,6"
        assert reach(9.8, 12.6, 1) == "9,8 bis 12,6"
        assert day_name("2026-03-05") == "5.\u00a0März\u00a02026"
        assert quarter_days("2026Q3") == "1.\u00a0Juli bis 30.\u00a0September\u00a02026"
    assert number(1.5, 1) == "1.5"


def test_words_of_results_are_told_clause_by_clause() -> None:
    german = catalogue("de")
    told = german.tell("gain \u22120.4 cmH2O (SE 1.2); not recorded")
    assert told == "Zuwachs \u22120,4 cmH2O (SE 1,2); nicht angegeben"
    assert german.tell("Is the reason for the easier setting still there?").endswith("noch?")
    told = german.tell("changed between tests: instrument, tester")
    assert told == "zwischen Tests geändert: Manometer, prüfende Person"
    assert german.tell("harbour") == "harbour"
    assert catalogue().tell("not recorded") == "not recorded"


@pytest.mark.parametrize("cohort", ["full", "suppressed"])
def test_every_number_printed_in_german_is_a_result(cohort: str) -> None:
    meta = cohorts.meta("internal")
    known = allowed(getattr(cohorts, cohort)()) | printed_always(replace(meta, language="de"))
    for name, page in made(cohort, "de").items():
        stray = {n for line in lines(page, with_drawings=False) for n in numbers_in(with_points(line, "de"))} - known
        assert sorted(stray) == [], name


#: Days and quarters as files write them; a page tells them as its reader does. The command in the foot is a command.
AS_STORED = re.compile(r"\b\d{4}-\d\d-\d\d\b|\b\d{4}Q\d\b")
#: A decimal point before one digit or more; the numbers of versions, laws and items of a checklist have points too.
POINT = re.compile(r"(?<![\w.])[\u2212+]?\d+\.\d+(?![\w.])")


def left_over(page: str) -> list[str]:
    """Lines of a page that still hold English words."""
    return sorted({line for line in lines(page) if ENGLISH.search(line) and not KEPT.search(line)})


@pytest.mark.parametrize(("edition", "code"), EACH)
def test_days_and_decimal_marks_follow_the_reader_in_every_line_and_drawing(
    sample_review: tuple[Path, object], edition: str, code: str
) -> None:
    own = [text[:30] for path in SAMPLE.glob("*.toml") for text in _flat(path).values()]
    for name, page in edition_of(sample_review[0] / edition, code).made.items():
        said = [line for line in lines(page) if "rmt-outcomes " not in line and not any(w in line for w in own)]
        assert [line for line in said if AS_STORED.search(line)] == [], name
        if code != "en":
            assert [line for line in said if POINT.search(line) and not HAS_POINTS.search(line)] == [], name


@pytest.mark.parametrize("cohort", ["full", "tiny", "suppressed"])
def test_no_english_is_left_of_the_texts(cohort: str) -> None:
    """The invented cohorts hold invented words of results; those are not asked for here."""
    results = getattr(cohorts, cohort)().rows
    own = {w.rstrip(".").lower() for r in results for w in (r.text, r.note, r.method, *parts_of(r.group).values()) if w}
    own |= {w.replace("_", " ") for w in own}
    found = {line for page in made(cohort, "de").values() for line in left_over(page)}
    assert [line for line in sorted(found) if not any(w in line.lower() for w in own)] == []


def test_no_english_is_left_of_the_sample(sample_review: tuple[Path, object], tmp_path: Path) -> None:
    """The words that real results bring have translations too; the clinic's own words stay as they are."""
    from pipeline import stages
    out = tmp_path / "out"
    shutil.copytree(sample_review[0], out)
    stages.report(out, None, lambda step, done, total: None, "de")
    own = [text[:30] for path in SAMPLE.glob("*.toml") for text in _flat(path).values()]
    own += [field.name.replace("_", " ") for field in fields(Settings)]
    found = {line for page in out.glob("*/*.html") for line in left_over(page.read_text(encoding="utf-8"))}
    assert [line for line in sorted(found) if not any(words in line for words in own)] == []


def _flat(path: Path) -> dict[str, str]:
    """Every text of a TOML file, by its place."""
    tree: list[tuple[str, object]] = [("", tomllib.loads(path.read_text(encoding="utf-8")))]
    texts: dict[str, str] = {}
    for stem, value in tree:
        if isinstance(value, dict):
            tree += [(f"{stem}.{k}", v) for k, v in value.items()]
        elif isinstance(value, list):
            tree += [(f"{stem}.{k}", v) for k, v in enumerate(value)]
        elif isinstance(value, str) and " " in value:
            texts[stem] = " ".join(value.split())
    return texts


def test_the_page_says_its_language() -> None:
    assert all('<html lang="de"' in page for page in made("full", "de").values())


def test_results_are_the_same_whatever_the_language(tmp_path: Path) -> None:
    from pipeline.report import write
    meta = cohorts.meta("internal")
    write(cohorts.full(), tmp_path / "en", meta)
    write(cohorts.full(), tmp_path / "de", type(meta)(**{**vars(meta), "language": "de"}))
    for name in ("results.json", "stalled.csv"):
        assert (tmp_path / "en" / name).read_bytes() == (tmp_path / "de" / name).read_bytes()


def test_an_unknown_language_is_said_before_anything_runs() -> None:
    with pytest.raises(SettingsError, match="one of en, de"):
        catalogue("xx")
