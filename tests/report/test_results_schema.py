"""results.json keeps to its published schema, and the schema refuses a number that does not say what it is."""

from __future__ import annotations

import copy
import json

import jsonschema
import pytest

from pipeline import assets
from pipeline.report.twins import results_json
from pipeline.results import Result, ResultSet
from tests.report import cohorts

SCHEMA = json.loads(assets.text("reports", "results.schema.json"))


def faults(document: dict) -> list[str]:
    found = jsonschema.Draft202012Validator(SCHEMA).iter_errors(document)
    return [f"{'/'.join(map(str, e.absolute_path))}: {e.message[:150]}" for e in found]


def made(*rows: Result) -> dict:
    return json.loads(results_json(ResultSet(rows), cohorts.meta("internal")))


def test_the_schema_is_one():
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("cohort", ["full", "tiny", "suppressed"])
def test_the_made_cohorts_keep_to_it(cohort):
    # client rows there have made-up names
    rows = [r for r in getattr(cohorts, cohort)().rows if r.klass == "aggregate"]
    assert faults(made(*rows))[:5] == []


@pytest.mark.parametrize("edition", ["internal", "shared"])
def test_the_sample_keeps_to_it(sample_review, edition):
    document = json.loads((sample_review[0] / edition / "results.json").read_text(encoding="utf-8"))
    assert len(document["results"]) > 1000 and faults(document)[:5] == []


GOOD = made(Result("quarter", "gains", "gain_cmh2o", "pressure=mip", 12.0, n=80, value=11.0, low=9.0, high=13.0,
                   unit="cmH2O", method="model"))


@pytest.mark.parametrize("spoil", [
    {"unit": None}, {"n": None, "method": None}, {"klass": None}, {"klass": "person"}, {"value": "11"}, {"hue": 1},
    {"n": -1}, {"key": "gain"}, {"report": "other"}])
def test_a_number_that_does_not_say_what_it_is_is_refused(spoil):
    assert faults(GOOD) == []
    bad = copy.deepcopy(GOOD)
    for field, value in spoil.items():
        bad["results"][0].pop(field, None)
        bad["results"][0] |= {} if value is None else {field: value}
    assert len(faults(bad)) >= 1


def test_another_version_is_refused():
    assert faults(GOOD | {"schema_version": 2}) != []


def test_a_row_without_n_or_method_gets_its_definitions_formula():
    row = made(Result("stalled", "worklist", "order", "aaaaaaaa;pressure=mip", value=1.0, klass="client"))["results"][0]
    assert row["unit"] == "rank" and "gain axis" in row["method"]
    covariate = made(Result("protocols", "alike", "mean", "covariate=age_years;protocol=x", n=20, value=60.0))
    assert covariate["results"][0]["unit"] == "years"
