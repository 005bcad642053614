"""Marks for every reason, "not recorded" never "no", and questions that stay questions."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.stats import reasons as why
from pipeline.stats.questions import HEALTH, LEADS_TO_HIGHER_LOAD, QUESTIONS, may_ask_about_load, questions
from pipeline.stats.reasons import FOUND, NOT_FOUND, NOT_RECORDED, Evidence, has_high_dose, reasons
from pipeline.stats.stalled_rule import StalledRule

RULE = StalledRule()
CLEAN = Evidence(
    test_changed=dict.fromkeys(why.TEST_CONDITIONS, False), power_if_flat=0.8, tests=6, ill_days=0, pause_days=0,
    events=0, eased_sessions=0, logged_pct=95.0, adherence_pct=92.0, effort_under_pct=10.0, effort_over_pct=5.0,
    setting_steps_up=2, effort_change=0.2, aim="raise", caution="none_known", condition_group="copd",
)  # fmt: skip


def _marks(evidence):
    return {reason.code: reason.mark for reason in reasons(evidence, RULE)}


def test_nothing_recorded_is_not_recorded_everywhere_and_never_no():
    marks = _marks(Evidence())
    assert set(marks.values()) == {NOT_RECORDED} and len(marks) == 11


def test_a_clean_record_leads_to_the_whole_plan():
    marks = _marks(CLEAN)
    assert marks.pop(why.WHOLE_PLAN) == FOUND and set(marks.values()) == {NOT_FOUND}


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"test_changed": {"instrument": True}}, why.TEST_CHANGED),
        ({"power_if_flat": 0.48}, why.TOO_FEW_TESTS),
        ({"ill_days": 3}, why.ILLNESS),
        ({"pause_days": 9}, why.ILLNESS),
        ({"events": 1}, why.ILLNESS),
        ({"eased_sessions": 4}, why.EASED),
        ({"logged_pct": 74.0}, why.DIARIES_MISSING),
        ({"adherence_pct": 49.0}, why.LOW_DOSE),
        ({"effort_under_pct": 50.0}, why.EFFORT_UNDER),
        ({"effort_over_pct": 60.0}, why.EFFORT_OVER),
        ({"setting_steps_up": 0, "effort_change": -1.0}, why.ROOM),
        ({"aim": "hold"}, why.NO_RISE_EXPECTED),
        ({"caution": "progressive_disease"}, why.NO_RISE_EXPECTED),
    ],
)
def test_each_reason_is_found_alone_and_then_nothing_is_as_planned(change, code):
    marks = _marks(replace(CLEAN, **change))
    assert [found for found, mark in marks.items() if mark == FOUND] == [code]


def test_low_dose_is_no_reason_where_too_little_is_logged():
    marks = _marks(replace(CLEAN, logged_pct=60.0, adherence_pct=10.0))
    assert marks[why.LOW_DOSE] == NOT_RECORDED and marks[why.DIARIES_MISSING] == FOUND


def test_a_tester_not_recorded_is_named_and_not_taken_as_the_same():
    first = reasons(replace(CLEAN, test_changed={"instrument": False, "metric": False}), RULE)[0]
    assert first.mark == NOT_RECORDED and "tester" in first.text and "instrument" not in first.text


def test_unknown_training_is_not_called_as_planned():
    last = reasons(replace(CLEAN, effort_under_pct=None), RULE)[-1]
    assert (last.code, last.mark) == (why.WHOLE_PLAN, NOT_RECORDED)


def test_more_than_prescribed_or_over_the_band_is_a_high_dose():
    assert has_high_dose(replace(CLEAN, adherence_pct=121.0), RULE) and not has_high_dose(CLEAN, RULE)
    assert has_high_dose(replace(CLEAN, effort_over_pct=50.0), RULE) and not has_high_dose(Evidence(), RULE)


ORDERS = ("increase", "raise", "reduce", "should", "must", "please", "try ", "add ", "stop", "breaths", "sets", "%")


@pytest.mark.parametrize("text", [HEALTH, *QUESTIONS.values()])
def test_a_question_is_one_sentence_that_asks_and_holds_no_order_and_no_dose(text):
    assert text.endswith("?") and text.count("?") == 1 and text[0].isupper() and len(text) <= 80
    assert text.split()[0] in {"Has", "Could", "Would", "How", "Is", "Were", "What", "Does"}
    assert not any(order in text.lower() for order in ORDERS)


LOAD = {QUESTIONS[code] for code in LEADS_TO_HIGHER_LOAD}
ROOM_FOUND = replace(CLEAN, setting_steps_up=0, effort_change=-2.0, effort_under_pct=80.0)


def _asked(evidence, state="stalled"):
    return questions(reasons(evidence, RULE), evidence, RULE, state=state)


def test_room_to_progress_may_be_asked_about_where_nothing_speaks_against_it():
    assert set(_asked(ROOM_FOUND)) == {QUESTIONS[why.EFFORT_UNDER], QUESTIONS[why.ROOM]}


@pytest.mark.parametrize(
    "against",
    [
        {"days_since_quiet": 28},
        {"caution": "cardiac"},
        {"caution": None},
        {"caution": "progressive_disease"},
        {"condition_group": "neuromuscular"},
        {"aim": "slow_a_fall"},
        {"events": None},
        {"pause_days": None},
    ],
)
def test_no_question_that_leads_to_a_higher_load_where_it_must_not_be_asked(against):
    evidence = replace(ROOM_FOUND, **against)
    assert not may_ask_about_load(evidence, RULE) and _asked(evidence) and not LOAD & set(_asked(evidence))


def test_the_quiet_time_ends_after_28_days():
    assert may_ask_about_load(replace(ROOM_FOUND, days_since_quiet=29), RULE)


@pytest.mark.parametrize("state", ["improving", "levelled off", "can't tell yet", "not assessable"])
def test_only_a_flag_is_asked_about(state):
    assert _asked(ROOM_FOUND, state) == ()


shares = st.one_of(st.none(), st.floats(0, 100))


@given(shares, shares, shares, st.one_of(st.none(), st.integers(0, 9)), st.sampled_from(["falling", "stalled"]))
def test_one_to_three_questions_health_first_when_falling(logged, done, under, ill, state):
    evidence = Evidence(logged_pct=logged, adherence_pct=done, effort_under_pct=under, ill_days=ill)
    asked = _asked(evidence, state)
    assert 1 <= len(asked) <= 3 and len(set(asked)) == len(asked)
    assert (asked[0] == HEALTH) == (state == "falling") and not LOAD & set(asked)


def test_many_reasons_still_give_three_questions_in_the_order_of_the_reasons():
    evidence = replace(CLEAN, test_changed={"tester": True}, power_if_flat=0.3, ill_days=5, logged_pct=40.0)
    assert _asked(evidence) == (QUESTIONS[why.TEST_CHANGED], QUESTIONS[why.TOO_FEW_TESTS], QUESTIONS[why.ILLNESS])
    assert _asked(evidence, "falling") == (HEALTH, QUESTIONS[why.TEST_CHANGED], QUESTIONS[why.TOO_FEW_TESTS])
