"""A store of sums alone: what `report` writes of it, and what it takes away."""

from __future__ import annotations

import json
import re
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from pipeline import stages
from pipeline.identity.audit import derivable_cells
from pipeline.report import only_sums
from pipeline.report.editions import pages
from pipeline.results import ResultSet
from pipeline.settings import Settings
from pipeline.stages_editions import TABLES, keep, shared_edition
from pipeline.stages_report import _head
from pipeline.store import edit_store, open_store
from tests.only_sums import Made, leave_sums, made_of, of_sums, run
from tests.report import test_claims
from tests.report.prose import lines
from tests.report.sample_pages import Edition, edition_of
from tests.report.test_languages import _flat, left_over
from tests.report.test_numbers import allowed, numbers_in, printed_always, tips, with_points
from tests.report.test_results_schema import faults
from tests.some_people import SAMPLE, keys
from tests.test_review import files_of, nothing

HELD = ["answers", "gains", "difference", "dose_response", "fitted", "small_groups"]
NOTHING_ELSE = "Made from sums: the tables of single rows stayed where they were made."


@pytest.fixture(scope="module")
def made(sample_review, tmp_path_factory: pytest.TempPathFactory) -> Made:
    """The sample's review; then its store is left with sums alone and the pages are made again."""
    return made_of(sample_review[0], tmp_path_factory.mktemp("sums") / "out")


@pytest.fixture(scope="module", params=["en", "de"])
def edition(request: pytest.FixtureRequest, made: Made) -> Edition:
    """The pages in each language."""
    return edition_of(made.out / "shared", request.param)


def sections_of(page: str) -> dict[str, str]:
    """The sections of a page: id to what is in it."""
    return dict(re.findall(r'<section id="([a-z_]+)" aria-labelledby="[a-z_]+-h">(.*?)\n</section>', page, re.S))


def test_the_pages_are_the_shared_ones_and_those_of_before_are_gone(made: Made) -> None:
    assert set(files_of(made.out, "shared")) == {"index.html", "protocols.html", "results.json"}
    assert not (made.out / "internal").exists()
    assert "The internal edition of an earlier review was removed" in made.said
    manifest = json.loads((made.out / "manifest.json").read_text(encoding="utf-8"))
    assert [o["path"] for o in manifest["outputs"]] == [f"shared/{n}" for n in files_of(made.out, "shared")]
    assert "--only-sums" in manifest["command"]


def test_no_client_key_and_no_small_count_is_in_it(made: Made) -> None:
    text = "\n".join(b.decode() for b in files_of(made.out, "shared").values())
    assert [key for key in keys() if key in text] == []
    rows = json.loads((made.out / "shared" / "results.json").read_text())["results"]
    assert len(rows) > 400 and any(str(r.get("text", "")).startswith("hidden (") for r in rows)
    for row in rows:
        counted = row.get("n") if row.get("n_of", "people") == "people" else row.get("n_people")
        assert counted is None or counted == 0 or counted > 10, row["key"]
        assert row["klass"] == "aggregate"


def test_results_keep_to_the_schema_and_say_that_they_come_from_sums(made: Made) -> None:
    document = json.loads((made.out / "shared" / "results.json").read_text(encoding="utf-8"))
    assert document["only_sums"] is True and faults(document)[:5] == []


def test_sections_without_rows_are_left_out_and_none_is_empty(edition: Edition) -> None:
    held = sections_of(edition.made["protocols.html"])
    assert list(held) == HELD
    for name, body in held.items():
        blocks = re.findall(r"<(?:table|figure|p class=\"said |ul class=\"said|details)", body)
        assert blocks and 'class="said empty"' not in body, name
    assert 'class="gap"' not in edition.made["protocols.html"]
    assert list(sections_of(edition.made["index.html"])) == ["pages", "data"]
    without = ResultSet(tuple(r for r in edition.results.rows if r.section not in ("dose_response", "gains")))
    fewer = pages(without, edition.meta)["protocols.html"]
    assert list(sections_of(fewer)) == [s for s in HELD if s not in ("dose_response", "gains")]


def test_the_opening_tells_gains_differences_and_what_is_not_there(edition: Edition) -> None:
    gain = next(r for r in edition.results.rows
                if r.statistic == "gain_cmh2o" and r.group == "pressure=mip" and r.at == 12)
    for name in only_sums.SECTIONS:
        page = edition.made[f"{name}.html"]
        said = lines(re.search(r'<ul class="answer">.*?</ul>', page, re.S)[0])  # type: ignore[index]
        assert said[0].startswith("MIP ") and f"{gain.value:.1f}" in with_points(said[0], edition.meta.language)
        assert len([s for s in said if "firm_5x6" in s and "steady_30" in s]) == 2
        if edition.meta.language == "en":
            assert said[-1].startswith(NOTHING_ELSE) and "A plan is registered" in said[-2]
            assert said[-3].startswith("The gains above are of everybody")
    figures = re.findall(r'<dd class="big">([^<]+)', edition.made["protocols.html"])
    assert len(figures) >= 2 and not any(f.startswith(("hidden", "verborgen")) for f in figures)
    assert edition.made["index.html"].count('<dd class="big">') == 0


def test_without_a_plan_none_is_spoken_of(made: Made) -> None:
    told = edition_of(made.out / "shared", "en")
    page = pages(told.results, replace(told.meta, plan_hash=""))["protocols.html"]
    assert "A plan is registered" not in page and NOTHING_ELSE in page


def test_whom_a_plan_takes_is_said_of_every_cohort_that_it_limits(made: Made) -> None:
    """By a row of the results: with few people, under another limit, no counts tell it."""
    told = edition_of(made.out / "shared", "en")
    hidden = [replace(r, n=None, n_people=None, text="hidden (n<11)") if r.section == "fitted" and r.n else r
              for r in told.results.rows]
    assert "The gains above are of everybody" in pages(ResultSet(tuple(hidden)), told.meta)["protocols.html"]
    others = ResultSet(tuple(r for r in told.results.rows if r.statistic != "taken"))
    assert "The gains above are of everybody" not in pages(others, told.meta)["protocols.html"]


def test_a_hidden_gain_is_said_to_be_hidden(made: Made) -> None:
    told = edition_of(made.out / "shared", "en")
    rows = tuple(replace(r, n=None, value=None, low=None, high=None, text="hidden (n<11)")
                 if r.statistic == "gain_cmh2o" and r.group == "pressure=mip" else r for r in told.results.rows)
    page = pages(ResultSet(rows), told.meta)["protocols.html"]
    assert "MIP: the 12-week gain is not given: hidden (n&lt;11)." in page


def test_links_lead_somewhere(edition: Edition) -> None:
    for page in edition.made.values():
        for link in re.findall(r'href="([^"]+)"', page):
            file, _, anchor = link.partition("#")
            where = edition.made[file] if file else page
            assert not anchor or f'id="{anchor}"' in where, link


def test_every_number_printed_is_a_result(edition: Edition) -> None:
    known = allowed(edition.results) | printed_always(edition.meta) | {"0.001"}  # "under 0.001"
    for name, page in edition.made.items():
        said = [with_points(line, edition.meta.language) for line in [*lines(page, with_drawings=False), *tips(page)]]
        assert sorted({(n, line[:90]) for line in said for n in numbers_in(line) if n not in known}) == [], name


def test_titles_of_figures_say_what_their_rows_say(made: Made) -> None:
    told = edition_of(made.out / "shared", "en")
    assert test_claims.check(told.made, told.results) == 7


@pytest.mark.slow
def test_no_english_is_left_in_german(made: Made, tmp_path: Path) -> None:
    out = tmp_path / "out"
    shutil.copytree(made.out, out)
    stages.report(out, None, nothing, "de")
    own = [text[:30] for path in SAMPLE.glob("*.toml") for text in _flat(path).values()]
    found = {line for page in out.glob("*/*.html") for line in left_over(page.read_text(encoding="utf-8"))}
    assert [line for line in sorted(found) if not any(words in line for words in own)] == []


@pytest.mark.slow
def test_the_same_store_gives_the_same_bytes(made: Made, tmp_path: Path) -> None:
    out = tmp_path / "out"
    shutil.copytree(made.out, out)
    said = run("report", "--out", out)
    assert files_of(out, "shared") == files_of(made.out, "shared") and "was removed" not in said


@pytest.mark.slow
def test_where_an_edition_of_rows_stands_the_pages_beside_it_do_too(sample_review, tmp_path: Path) -> None:
    """A late person: the edition of rows is written again, so nothing is of sums and nothing is taken away."""
    out = tmp_path / "out"
    shutil.copytree(sample_review[0], out)
    before, told = files_of(out, "shared"), json.loads((out / "manifest.json").read_text(encoding="utf-8"))
    leave_sums(out)
    with edit_store(out / "store.duckdb", must_exist=True) as store:
        store.execute("update results.current set n = n + 1 where section = 'data' and statistic = 'people'")
    said = run("report", "--out", out)
    assert "stands as first written: 1 counts have moved" in said
    assert "Made from sums" not in said and "was removed" not in said
    assert files_of(out, "shared") == before and files_of(out, "internal") == files_of(sample_review[0], "internal")
    manifest = json.loads((out / "manifest.json").read_text(encoding="utf-8"))
    assert {k: manifest[k] for k in ("command", "outputs", "data_hash")} == {
        k: told[k] for k in ("command", "outputs", "data_hash")}


def editions_of(out: Path) -> list[tuple[int, str, int]]:
    """Number, quarter and printed rows of each shared edition on record."""
    with open_store(out / "store.duckdb", read_only=True) as store:
        return list(store.sql(
            "select e.edition_no, e.quarter, count(r.row_text) as n from results.editions as e inner join "
            "results.edition_rows as r on r.edition_no = e.edition_no group by all order by all").iter_rows())


def test_the_edition_of_rows_stays_on_record_beside_the_one_of_sums(made: Made, sample_review) -> None:
    (number, quarter, rows), = editions_of(sample_review[0])
    after = editions_of(made.out)
    assert after[0] == (number, quarter, rows) and after[1][:2] == (number + 1, quarter) and 0 < after[1][2] < rows
    with open_store(made.out / "store.duckdb", read_only=True) as store:
        meta = replace(_head(store, Settings(), quarter, "en"), only_sums=False)
        again = shared_edition(store, made.whole, meta, 10)
        assert again.edition_no == number and again.ledger is not None and len(again.rows.rows) == rows
        fewer = ResultSet(tuple(replace(r, n=(r.n or 0) - 1) if r.key == "common.data.people[all]" else r
                                for r in of_sums(made.whole).rows), of_sums(made.whole).partitions)
        late = shared_edition(store, fewer, replace(meta, only_sums=True, settings_hash="other"), 10)
        assert late.ledger is None and late.edition_no == number + 1 and late.rows.rows
        assert "1 counts have moved by 1 to 10" in late.said[0] and "internal" not in late.said[0]


def test_it_is_not_kept_as_a_review(made: Made, sample_review) -> None:
    kept = []
    for out in (sample_review[0], made.out):
        with open_store(out / "store.duckdb", read_only=True) as store:
            kept.append((store.table("results.reviews"), store.table("results.published")))
    assert all(a.equals(b) for a, b in zip(*kept, strict=True))


@pytest.mark.slow
def test_sums_shared_first_leave_room_for_the_whole_review(made: Made, tmp_path: Path) -> None:
    path = tmp_path / "store.duckdb"
    shutil.copy(made.out / "store.duckdb", path)
    with edit_store(path, must_exist=True) as store:
        for table in TABLES:
            store.execute(f"drop table results.{table}")
        meta = _head(store, Settings(), "2026Q3", "en")
        first = shared_edition(store, of_sums(made.whole), meta, 10)
        keep(store, first, 10)
        whole = shared_edition(store, made.whole, replace(meta, only_sums=False), 10)
    assert (first.edition_no, whole.edition_no, whole.said) == (1, 2, ())
    for made_edition in (first, whole):
        assert made_edition.ledger is not None
        assert derivable_cells(made_edition.ledger.cells, made_edition.ledger.sums, 10) == []
