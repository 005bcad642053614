"""A plan in the store: dated, with the tests loaded by then; amended, rebuilt as it was, and told on the page."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from html import unescape
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipeline import stages_load
from pipeline.cli import main
from pipeline.errors import IdentifierFound
from pipeline.settings import Settings
from pipeline.stages import Summary
from pipeline.stages_plan import in_force
from pipeline.store import edit_store, open_store
from tests.conftest import SAMPLE
from tests.validate.folder import KEY, LENIENT, SOUND, write

PLAN = (SAMPLE / "plan.toml").read_text(encoding="utf-8")
SHA = hashlib.sha256(PLAN.encode()).hexdigest()
LATER = {"sessions": [line.replace(",2,20,5,", ",2,18,5,") for line in SOUND["sessions"]]}


def run(*words: object):
    return CliRunner().invoke(main, [str(w) for w in words])


def folder(place: Path, plan: str | None = PLAN, **changed: list[str]) -> Path:
    """The small sound folder, with a plan beside its tables."""
    place.mkdir(exist_ok=True)
    write(place, **changed)
    if plan is not None:
        (place / "plan.toml").write_text(plan, encoding="utf-8", newline="\n")
    return place


def plans(out: Path):
    with open_store(out / "store.duckdb", read_only=True) as store:
        return store.table("received.plans").rows(named=True)


def load(place: Path, out: Path, day: str = "2026-01-05") -> Summary:
    summary = Summary("load")
    return stages_load.load(place, out, LENIENT, f"{day}T00:00:00+00:00", summary, lambda *_: None)


def text_of(page: Path) -> str:
    words = re.sub(r"<(svg|style|script).*?</\1>", " ", page.read_text("utf-8"), flags=re.S)
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", words)).split())


def test_a_plan_beside_the_tables_is_registered_before_they_are_loaded(tmp_path):
    load(folder(tmp_path / "a"), tmp_path / "out")
    (one,) = plans(tmp_path / "out")
    assert (one["plan_no"], one["tests_loaded"], one["after_batch"], one["changed"]) == (1, 0, 0, "")
    assert (one["sha256"], one["registered_at"][:10], one["plan_text"]) == (SHA, "2026-01-05", PLAN)


def test_the_word_plan_makes_a_store_and_counts_what_was_loaded(tmp_path):
    out, file = tmp_path / "out", tmp_path / "my_plan.toml"
    file.write_text(PLAN, encoding="utf-8", newline="\n")
    shown = run("plan", file, "--out", out)
    assert shown.exit_code == 0 and "before any outcome test was loaded" in shown.output and SHA in shown.output
    assert "nothing to register" in run("plan", file, "--out", out).output
    load(folder(tmp_path / "a", plan=None), out)
    file.write_text(PLAN.replace('funding = "None."', 'funding = "A grant."'), encoding="utf-8")
    shown = json.loads(run("plan", file, "--out", out, "--json").output)
    assert shown["counts"]["plan_no"] == 2
    # the small folder holds two test days with a value: one MIP of the first person, one MEP of the second
    assert shown["counts"]["tests_loaded_before"] == 2
    assert [p["changed"] for p in plans(out)] == ["", "funding"]


def test_the_same_plan_again_is_no_amendment_and_going_back_is_one(tmp_path):
    out, other = tmp_path / "out", PLAN + "# a note\n"
    for day, plan, changes in (("2026-01-05", PLAN, {}), ("2026-02-05", PLAN, {}), ("2026-03-05", other, {}),
                               ("2026-04-05", PLAN, {}), ("2026-05-05", PLAN, LATER)):  # fmt: skip
        load(folder(tmp_path / "a", plan, **changes), out, day)
    assert [(p["registered_at"][:7], p["tests_loaded"], p["changed"]) for p in plans(out)] == [
        ("2026-01", 0, ""), ("2026-03", 2, "comments or layout only"), ("2026-04", 2, "comments or layout only")]


def test_a_plan_with_faults_stops_everything_and_says_them_all(tmp_path):
    spoilt = PLAN.replace('of = "dose"', 'of = "dosage"').replace("consented_only = true\n", "")
    for word in ("check", "load", "review"):
        shown = run(word, folder(tmp_path / "a", spoilt), *(() if word == "check" else ("--out", tmp_path / "out")))
        assert shown.exit_code == 3
        assert shown.output.count("plan.toml:") == 2 and "dosage" not in shown.output
        assert not (tmp_path / "out" / "store.duckdb").exists()


def test_data_that_is_refused_takes_its_plan_with_it(tmp_path):
    place = folder(tmp_path / "a", clients=["client_key,sex,age_years,email", f"{KEY},female,61,jane@example.org"])
    with pytest.raises(IdentifierFound):
        load(place, tmp_path / "out")
    assert not (tmp_path / "out" / "store.duckdb").exists()


def test_check_says_that_a_plan_is_whole_and_registers_nothing(tmp_path):
    shown = run("check", folder(tmp_path / "a"))
    assert "plan.toml: a whole plan" in shown.output and not (tmp_path / "out").exists()


def test_under_the_relative_policy_only_the_year_is_kept(tmp_path):
    settings, file = tmp_path / "settings.toml", tmp_path / "plan.toml"
    settings.write_text('date_policy = "relative"\n', encoding="utf-8")
    file.write_text(PLAN, encoding="utf-8")
    assert run("plan", file, "--out", tmp_path / "out", "--settings", settings).exit_code == 0
    assert re.fullmatch(r"\d{4}", plans(tmp_path / "out")[0]["registered_at"])


@pytest.fixture(scope="module")
def amended(tmp_path_factory: pytest.TempPathFactory):
    """Three reviews of the small folder: without a plan, with one that came after data, and with it amended."""
    base = tmp_path_factory.mktemp("plans")
    out, kept = base / "out", []
    settings = base / "settings.toml"
    settings.write_text("set_aside_max_pct = 100.0\n", encoding="utf-8")
    for number, (plan, changes) in enumerate(((None, {}), (PLAN, LATER),
                                              (PLAN.replace('"straight line",', ""), SOUND))):  # fmt: skip
        shown = run("review", folder(base / "a", plan, **changes), "--out", out, "--quarter", "2025Q2", "--settings",
                    settings)  # fmt: skip
        assert shown.exit_code in (0, 5), shown.output
        kept.append(shutil.copytree(out / "internal", base / f"kept_{number}"))
    return out, kept, settings


def test_without_a_plan_the_page_says_so_and_nothing_breaks(amended):
    _, kept, _ = amended
    said = text_of(kept[0] / "protocols.html")
    assert "No estimand was written down" in said and "No plan was written down" in said
    assert "Population" in said and "no plan was written down" in said
    assert json.loads((kept[0] / "results.json").read_text(encoding="utf-8"))["plan_hash"] == ""


def test_the_page_says_what_came_before_the_data_and_what_after(amended):
    out, kept, _ = amended
    said = text_of(kept[2] / "protocols.html")
    assert "with 2 test days loaded already: read it as planned after the data" in said
    assert "Changes since then: 1, the last on" in said
    assert "agreed to research use and have a baseline test" in said  # the estimand in the plan's own words
    assert "Planned when tests had been loaded" in said and "Planned before any test was loaded" not in said
    with open_store(out / "store.duckdb", read_only=True) as store:
        assert in_force(store) in said
    assert "sensitivity" in said


def test_pages_results_and_manifest_carry_the_hashes(amended):
    out, kept, _ = amended
    results = json.loads((kept[1] / "results.json").read_text(encoding="utf-8"))
    assert results["plan_hash"] == SHA
    for name in ("index", "quarter", "protocols", "stalled"):
        foot = (kept[1] / f"{name}.html").read_text(encoding="utf-8").partition("<footer>")[2]
        told = ("data_hash", "settings_hash", "plan_hash", "program_version", "command")
        assert all(results[h] in foot for h in told)
    manifest = json.loads((out / "manifest.json").read_text(encoding="utf-8"))
    last = json.loads((out / "internal" / "results.json").read_text(encoding="utf-8"))
    assert {h: manifest[h] for h in ("data_hash", "settings_hash", "plan_hash")} == {
        h: last[h] for h in ("data_hash", "settings_hash", "plan_hash")} and last["plan_hash"] != SHA


@pytest.mark.parametrize("batch", [1, 2, 3])
def test_an_earlier_review_is_rebuilt_with_the_plan_in_force_then(amended, batch):
    out, kept, settings = amended
    shown = run("review", "--as-of", batch, "--out", out, "--quarter", "2025Q2", "--settings", settings)
    assert shown.exit_code in (0, 5), shown.output
    again = out / f"as_of_{batch}" / "internal" / "protocols.html"
    assert again.read_bytes() == (kept[batch - 1] / "protocols.html").read_bytes()
    assert len(plans(out)) == 2


def test_a_plan_registered_after_a_load_belongs_to_its_review_where_that_was_written(tmp_path):
    """Loaded, then planned, then loaded again: the first batch had no plan unless a kept review says otherwise."""
    from pipeline.stages_plan import leave_out_later
    out, file = tmp_path / "out", tmp_path / "late.toml"
    file.write_text(PLAN, encoding="utf-8", newline="\n")
    load(folder(tmp_path / "a", plan=None), out)
    run("plan", file, "--out", out)
    load(folder(tmp_path / "a", plan=None, **LATER), out)
    for kept, left in ((False, 0), (True, 1)):
        shutil.copyfile(out / "store.duckdb", tmp_path / "copy.duckdb")
        with edit_store(tmp_path / "copy.duckdb") as store:
            if kept:
                store.execute("create schema results")
                store.execute("create table results.reviews as select 1 as review_no, '2025Q1' as quarter, 1 as "
                              "batch_id, '0' as program_version, '' as settings_hash, '' as settings_text, "
                              f"'{SHA}' as plan_hash")
            leave_out_later(store, 1, "2025Q1")
            assert store.table("received.plans").height == left


def test_the_settings_have_a_worthwhile_difference_with_its_source():
    from dataclasses import fields
    sources = {f.name: f.metadata for f in fields(Settings)}
    assert sources["mip_worthwhile_cmh2o"]["unit"] == "cmH2O"
    assert "Clin Rehabil 2023;37:1521" in sources["mip_worthwhile_cmh2o"]["source"]
    assert Settings().mep_worthwhile_cmh2o == 0.0
