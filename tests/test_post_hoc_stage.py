"""`analyse --where --label`: kept with its day, shown beside the primary, hidden where small, never repeated back."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from pipeline.cli import main
from pipeline.store import open_store
from tests import some_people
from tests.validate.folder import write


def run(*words):
    return CliRunner().invoke(main, [str(w) for w in words])


@pytest.fixture(scope="module")
def out(tmp_path_factory):
    """A store with the small sound folder, derived."""
    place = tmp_path_factory.mktemp("asked")
    (place / "in").mkdir()
    assert run("load", write(place / "in"), "--out", place / "out").exit_code == 0
    assert run("derive", "--out", place / "out").exit_code == 0
    return place / "out"


def kept(out):
    with open_store(out / "store.duckdb", read_only=True) as store:
        return store.table("results.post_hoc").rows(named=True) if store.has_table("results.post_hoc") else []


def ask(out, label, condition):
    return run("analyse", "--out", out, "--quarter", "2025Q1", "--where", condition, "--label", label)


def test_one_without_the_other_is_wrong_usage(out):
    shown = run("analyse", "--out", out, "--where", "age_years > 60")
    assert shown.exit_code == 2 and "--where and --label together" in shown.output


@pytest.mark.parametrize(("condition", "said"), [
    ("client_key = 'abcd1234'", "--where, character 1: no column by which rows may be chosen. Expected one of: age_b"),
    ("age_years > old", "--where, character 13: a value of another kind than the column age_years. Expected a number."),
    ("age_years > 60; drop table results.reviews", "--where, character 15: a character that no condition has."),
])  # fmt: skip
def test_a_condition_that_cannot_be_read_keeps_nothing_and_is_not_repeated(out, condition, said):
    before = kept(out)
    shown = ask(out, "Older people", condition)
    assert shown.exit_code == 2 and said in shown.output
    assert "abcd1234" not in shown.output and "drop table" not in shown.output
    assert kept(out) == before


def test_it_is_kept_with_its_day_and_batch_and_asked_twice_it_stands_once(out):
    first = ask(out, "Older people", "age_years >= 40")
    assert "Kept as post hoc" in first.output and first.exit_code in (0, 5), first.output
    again = ask(out, "Older people", "age_years >= 40")
    assert "Asked before, on " in again.output
    (one,) = kept(out)
    assert (one["asked_no"], one["label"], one["batch_id"]) == (1, "Older people", 1)
    assert one["condition"] == "age_years >= 40"
    assert one["asked_on"].count("-") == 2


def test_a_label_stands_for_one_condition(out):
    ask(out, "Older people", "age_years >= 40")
    shown = ask(out, "Older people", "age_years >= 50")
    assert shown.exit_code == 2 and "another condition already" in shown.output
    assert [r["condition"] for r in kept(out)] == ["age_years >= 40"]


@pytest.mark.slow
def test_a_review_has_its_row_marked_and_small_parts_hidden_where_shared(tmp_path):
    """Of half the sample: a large part stands in both editions, a handful in the internal one only."""
    place = tmp_path / "out"
    assert run("load", some_people.write(some_people.every(2), tmp_path / "in"), "--out", place).exit_code == 0
    assert run("derive", "--out", place).exit_code == 0
    for label, condition in (("Women over 60", "sex = female and age_years > 60"), ("Very old", "age_years > 87")):
        asked = ("--where", condition, "--label", label)
        assert run("analyse", "--out", place, "--quarter", "2026Q3", *asked).exit_code == 0
    assert run("report", "--out", place).exit_code == 0
    found = {}
    for edition in ("internal", "shared"):
        rows = json.loads((place / edition / "results.json").read_text("utf-8"))["results"]
        found[edition] = {(r["statistic"], r["group"]): r for r in rows if "kind=post hoc" in r["group"]}
        page = (place / edition / "protocols.html").read_text("utf-8")
        assert "Women over 60 (post hoc)" in page and "sex = female and age_years &gt; 60" in page
        main_row = [r for r in rows if r["section"] == "choices" and "kind=primary" in r["group"]]
        assert main_row and main_row[0]["value"]
    gain = ("gain_cmh2o", "pressure=mip;kind=post hoc;choice=Women over 60")
    assert round(found["internal"][gain]["value"], 1) == found["shared"][gain]["value"]
    few = [k for k in found["internal"] if "Very old" in k[1] and k[0] == "gain_cmh2o"]
    assert few and all("value" not in found["shared"][k] and "hidden" in found["shared"][k]["text"] for k in few)
