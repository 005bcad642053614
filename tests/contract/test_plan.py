"""A plan is read whole or refused with every fault at once, and none of the faults quotes what was written."""

from __future__ import annotations

import copy
import tomllib

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.analyse.models import MODELS, TERMS
from pipeline.contract.plan import ATTRIBUTES, COVARIATES, PlannedContrast, changed_words, read_plan
from tests.conftest import SAMPLE

WHOLE = tomllib.loads((SAMPLE / "plan.toml").read_text(encoding="utf-8"))


def test_the_plan_of_the_sample_is_whole():
    plan, faults = read_plan(WHOLE)
    assert faults == []
    assert tuple(plan.estimand) == ATTRIBUTES and plan.consented_only
    assert plan.primary == PlannedContrast("difference", "mip", 12, ("firm_5x6", "steady_30"))
    assert plan.primary in plan.family and len(plan.family) == 4


def test_covariates_are_those_of_the_models():
    assert set(COVARIATES) <= set(TERMS)
    adjusted = {t for t in MODELS["R1"].terms if TERMS[t].block in ("covariate", "site")}
    assert set(COVARIATES) == adjusted


def without(word):
    given_ = copy.deepcopy(WHOLE)
    table, _, name = word.partition(".")
    del (given_[table] if name else given_)[name or table]
    return given_


@pytest.mark.parametrize("word", [*WHOLE, *(f"estimand.{a}" for a in ATTRIBUTES), "eligibility.rule", "primary.of",
                                  "eligibility.consented_only", "primary.pressure", "primary.protocols"])
def test_a_missing_word_is_said(word):
    plan, faults = read_plan(without(word))
    assert plan is None
    assert word in {f.word for f in faults}


SPOILT = {
    "question": ("", "question"), "ethics": (7, "ethics"), "covariates": (["age", "hair"], "covariates, entry 2"),
    "sensitivity": (["a", "a"], "sensitivity"), "estimand": ("words", "estimand"), "family": ([], "family"),
    "primary": ([], "primary"),
    "eligibility": ({"rule": "some", "consented_only": "yes"}, "eligibility.consented_only"),
    "purpose": ("x", "purpose"),
}  # fmt: skip


@pytest.mark.parametrize("word", SPOILT)
def test_a_word_of_the_wrong_kind_is_said(word):
    value, said = SPOILT[word]
    plan, faults = read_plan(WHOLE | {word: value})
    assert plan is None and said in {f.word for f in faults}


@pytest.mark.parametrize(("changes", "said"), [
    ({"of": "ratio"}, "primary.of"), ({"week": 13}, "primary.week"), ({"protocols": ["one"]}, "primary.protocols"),
    ({"protocols": ["one", "one"]}, "primary.protocols"), ({"pressure": "snip"}, "primary.pressure"),
    ({"protocols": ["firm_5x6", "ladder_6"]}, "family"), ({"of": "gain"}, "primary.protocols"), ({"q": 1}, "primary.q"),
])  # fmt: skip
def test_a_contrast_that_cannot_be_is_said(changes, said):
    plan, faults = read_plan(WHOLE | {"primary": WHOLE["primary"] | changes})
    assert plan is None and said in {f.word for f in faults}


def test_every_fault_is_said_at_once_and_quotes_nothing():
    secret = "Jane Example, born 1950"
    spoilt = dict.fromkeys(WHOLE, secret) | {"estimand": dict.fromkeys(ATTRIBUTES[:2], secret), "funding": "",
                                           "primary": {"of": secret}, "family": [{"protocols": secret}]}
    plan, faults = read_plan(spoilt)
    assert plan is None and len(faults) > 10
    assert len({f.word for f in faults}) > 8
    assert not any(secret in f"{f.word} {f.what} {f.expected}" for f in faults)


def test_a_contrast_named_twice_either_way_round_is_said():
    turned = WHOLE["family"][0] | {"protocols": WHOLE["family"][0]["protocols"][::-1]}
    _, faults = read_plan(WHOLE | {"family": [*WHOLE["family"], turned]})
    assert [f.what for f in faults] == ["names a contrast twice"]


def test_what_changed_is_told_by_its_word():
    after = copy.deepcopy(WHOLE)
    after["estimand"]["summary"] = "Another."
    after["sensitivity"] = []
    after["purpose"] = 1
    del after["funding"]
    assert changed_words(WHOLE, after) == ["sensitivity", "estimand.summary", "purpose", "funding"]
    assert changed_words(WHOLE, copy.deepcopy(WHOLE)) == []


LEAF = st.sampled_from((None, True, 0, 12, 1.5, "", "mip", "gain", "a text"))
TREE = st.recursive(LEAF, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(
    st.sampled_from([*WHOLE, *ATTRIBUTES, "of", "protocols", "rule", "zzz"]), inner, max_size=5), max_leaves=12)


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(words=st.dictionaries(st.sampled_from([*WHOLE, "zzz"]), TREE, max_size=8))
def test_whatever_is_written_gives_a_plan_or_faults(words):
    plan, faults = read_plan(WHOLE | words)
    assert (plan is None) == bool(faults)
