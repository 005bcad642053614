"""`plan-size`: the table for people, the object for machines, and what cannot be asked."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from pipeline.cli import main
from pipeline.stats.plan_size import Question, Spread, size

STATED = ("--slope-sd", "7", "--test-sd", "8")


def run(*words: str):
    return CliRunner().invoke(main, ["plan-size", *words])


def test_the_table_and_the_object_say_what_the_formula_does():
    shown = run("--difference", "6", *STATED, "--sides", "1", "--lost", "25", "--tests", "4")
    found = size(Question(6.0, sides=1, lost=0.25), Spread(7.0, 8.0), 4)
    line = next(row for row in shown.output.splitlines() if row.split()[:1] == ["4"]).split()
    assert line == ["4", str(found.people_each), str(found.people), str(found.tests), f"{found.power:.3f}",
                    str(found.df), f"{found.normal_each:.1f}"]  # fmt: skip
    assert "one-sided 5 %" in shown.output and "as stated" in shown.output
    told = json.loads(run("--difference", "6", *STATED, "--sides", "1", "--lost", "25", "--tests", "4",
                          "--json").output)  # fmt: skip
    assert told["answer"]["question"]["sides"] == 1 and told["answer"]["sizes"][0]["people"] == found.people


def test_the_spread_comes_from_the_fitted_model_of_the_store(sample_review):
    out, _ = sample_review
    told = json.loads(run("--difference", "6", "--out", str(out), "--json").output)
    rows = {r["key"]: r for r in json.loads((out / "internal" / "results.json").read_text(encoding="utf-8"))["results"]}
    spread = told["answer"]["spread"]
    where = "protocols.fitted.random_sd_cmh2o[pressure=mip;by=client_key;term=time12]"
    assert spread["slope_sd"] == pytest.approx(rows[where]["value"], rel=1e-9)
    assert spread["residual_sd"] == pytest.approx(rows["protocols.fitted.residual_sd_cmh2o[pressure=mip]"]["value"])
    sizes = told["answer"]["sizes"]
    assert [s["tests_each"] for s in sizes] == [2, 3, 4, 5, 7, 13]
    assert [s["people_each"] for s in sizes] == sorted((s["people_each"] for s in sizes), reverse=True)


@pytest.mark.parametrize("words", [("0", *STATED), ("6", "--power", "1", *STATED), ("6", "--alpha", "0.6", *STATED),
                                   ("6", "--lost", "100", *STATED), ("6", "--slope-sd", "7"),
                                   ("6", "--weeks", "0", *STATED),
                                   ("6", "--slope-sd", "-1", "--test-sd", "8")])  # fmt: skip
def test_what_cannot_be_asked_is_said(words):
    shown = run("--difference", *words)
    assert shown.exit_code == 2 and "Expected" in shown.output


def test_without_a_store_or_a_stated_spread_it_says_what_to_do(tmp_path):
    shown = run("--difference", "6", "--out", str(tmp_path))
    assert shown.exit_code == 1 and "store" in shown.output


def test_more_than_anybody_has_is_said():
    assert "over ten million" in run("--difference", "0.001", *STATED, "--tests", "2").output
