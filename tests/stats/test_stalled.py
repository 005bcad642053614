"""Each state by a course built for it, the thresholds at their edges, and what may not happen."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.settings import Settings
from pipeline.stats.stalled import Course, gain_axis, judge, reached_lower_limit, slope_axis
from pipeline.stats.stalled_flags import FLAGGED_SHARES, flagged_shares
from pipeline.stats.stalled_rule import FALSE_FALLING_SHARE, STATES, StalledRule, rule_from
from tests.studies.stalled_rule import cohort, verdicts

RULE = StalledRule()
WEEKS = [0, 4, 8, 12, 16, 20, 24]


def _course(slope=0.0, gain=2.0, *, weeks=WEEKS, rise_until=99, **extra):
    values = [60 + slope * min(week, rise_until) for week in weeks]
    given_values = {"gain": gain, "gain_std_error": 5.0, "target": 17.0, "look_week": 24.0, **extra}
    return Course(weeks=weeks, values=values, residual_sd=8.0, **given_values)


@pytest.mark.parametrize(
    ("course", "state"),
    [
        (_course(slope=-2.0), "falling"),
        (_course(slope=1.5, gain=30), "improving"),
        (_course(slope=0.0, gain=2), "stalled"),
        (_course(slope=2.0, gain=30, rise_until=8), "levelled off"),
        (_course(slope=0.0, gain=15), "can't tell yet"),
        (_course(gain=2, weeks=[22, 24]), "can't tell yet"),
        (_course(gain=2, look_week=40.0), "can't tell yet"),
        (_course(gain=2, weeks=[24]), "not assessable"),
        (_course(gain=2, weeks=[]), "not assessable"),
        (_course(gain=2, target=None), "not assessable"),
        (_course(gain=None), "not assessable"),
        (_course(gain=2, obstacle="no baseline"), "not assessable"),
        (_course(gain=2, goal=60.0), "levelled off"),
        (_course(gain=2, lower_limit_reached=True), "levelled off"),
        (_course(gain=2, aim="hold"), "levelled off"),
        (_course(slope=-2.0, aim="slow_a_fall"), "falling"),
        (_course(slope=-2.0, gain=30, goal=10.0), "falling"),
        (_course(slope=-2.0, obstacle="series broken"), "not assessable"),
    ],
)
def test_each_state_by_a_course_made_for_it(course, state):
    verdict = judge(course, RULE)
    assert verdict.state == state and verdict.reason


def test_a_goal_must_be_reached_on_two_days():
    values = [50.0, 55.0, 61.0, 55.0, 55.0, 55.0, 55.0]
    once = replace(_course(goal=60.0), values=values)
    assert judge(once, RULE).state == "stalled" and not judge(once, RULE).goal_reached
    assert judge(once, replace(RULE, goal_days=1)).goal_reached


def test_the_gain_axis_turns_at_its_probabilities():
    def verdict(gain, allowance=0.0):
        return gain_axis(gain, 5.0, target=17.0, allowance=allowance, aim="raise", rule=RULE).verdict

    edge = 1.2816 * 5  # Phi(1.2816) = 0.9
    assert verdict(17 - edge - 0.01) == "little gained" and verdict(17 - edge + 0.01) == "unclear"
    assert verdict(17 + edge - 0.01) == "unclear" and verdict(17 + edge + 0.01) == "target gained"
    assert verdict(17 + edge + 0.01, allowance=4.5) == "unclear"


def test_the_slope_axis_turns_at_its_bounds():
    def verdict(slope):
        return slope_axis(WEEKS, [60 + slope * week for week in WEEKS], 8.0, rule=RULE).verdict

    error = 8 / 80**0.5  # tests at weeks 12, 16, 20, 24
    assert verdict(1.29 * error) == "rising" and verdict(1.27 * error) == "no clear slope"
    assert verdict(-1.64 * error) == "no clear slope" and verdict(-1.65 * error) == "falling"


def test_the_reason_carries_its_numbers_and_an_open_case_its_next_test():
    verdict = judge(_course(gain=2, allowance=4.5), RULE)
    assert "gain 2.0 cmH2O (SE 5.0)" in verdict.reason and "4 tests" in verdict.reason
    assert "target of 17.0 after 4.5 for learning with probability above 0.99" in verdict.reason
    assert verdict.slope.power_if_flat == pytest.approx(0.476, abs=0.001) and verdict.next_test is None
    open_case = judge(_course(gain=15), RULE)
    assert open_case.next_test.week == 28 and 0 < open_case.next_test.chance_gain_settles < 1


@given(
    st.lists(st.tuples(st.integers(0, 30), st.floats(10, 200)), max_size=8, unique_by=lambda test: test[0]),
    st.one_of(st.none(), st.floats(-50, 80)),
    st.sampled_from(["raise", "hold", "slow_a_fall", None]),
    st.one_of(st.none(), st.floats(1, 40)),
)
def test_every_course_gets_one_known_state_and_a_shift_changes_nothing(tests, gain, aim, target):
    weeks, values = [week for week, _ in tests], [value for _, value in tests]
    course = Course(weeks, values, 8.0, 30.0, gain, 5.0, target, 0.0, aim)
    verdict = judge(course, RULE)
    assert verdict.state in STATES
    assert judge(replace(course, values=[value + 7 for value in values]), RULE).state == verdict.state
    if verdict.state == "stalled":
        assert verdict.gain.verdict == "little gained" and verdict.slope.verdict == "no clear slope"


@given(st.floats(0, 40), st.floats(0, 9), st.floats(0.1, 9))
def test_a_larger_allowance_never_takes_a_flag_away(gain, allowance, more):
    course = _course(gain=gain, allowance=allowance)
    if judge(course, RULE).state == "stalled":
        assert judge(replace(course, allowance=allowance + more), RULE).state == "stalled"


def test_the_lower_limit_counts_only_for_who_began_below_and_is_now_surely_above():
    assert reached_lower_limit(50.0, 80.0, 5.0, 60.0, rule=RULE)
    assert not reached_lower_limit(65.0, 80.0, 5.0, 60.0, rule=RULE)
    assert not reached_lower_limit(50.0, 66.0, 5.0, 60.0, rule=RULE)


def test_the_rule_comes_from_the_settings_and_the_allowance_fades_with_practice():
    rule = rule_from(Settings(mip_target_gain_cmh2o=20.0))
    assert rule.target_cmh2o("mip") == 20.0 and rule.target_cmh2o("mep") is None
    assert rule == replace(StalledRule(), target_mip_cmh2o=20.0)
    assert [round(rule.allowance_after(n), 2) for n in (0, 1, 2, 3, 9)] == [4.5, 3.13, 2.18, 0.0, 0.0]


STUDIES = Path(__file__).parents[1] / "studies" / "results"


def test_the_printed_shares_of_false_falling_are_the_ones_of_the_study():
    rows = pl.read_csv(STUDIES / "falling_looks.csv").rows()
    found = {(gap, until): (one, every) for gap, until, one, every in rows}
    assert found.keys() == FALSE_FALLING_SHARE.keys()
    assert all(found[key] == pytest.approx(shares, abs=0.0006) for key, shares in FALSE_FALLING_SHARE.items())


def test_the_printed_shares_of_flags_are_the_ones_of_the_study():
    counts = pl.read_csv(STUDIES / "stalled_rule.csv").filter(error="constant", state="stalled")
    found = {tuple(row[:1] + row[2:5]): row[-1] for row in counts.iter_rows()}
    rhythms = ("2-weekly", "4-weekly", "gaps 2-6 wk")
    for row in FLAGGED_SHARES:
        shares = (row.two_weekly, row.four_weekly, row.gaps_2_to_6_weeks)
        measured = [found.get((rhythm, row.learning, row.kind, row.allowance_cmh2o), 0.0) for rhythm in rhythms]
        assert shares == pytest.approx(measured, abs=0.0051)
    assert len(FLAGGED_SHARES) == 45 and len(flagged_shares(4.0)) == 15


def test_one_small_cohort_rerun_gives_the_study_within_chance():
    # 3 cohorts of 240 at one cell: 108 flat people, Monte Carlo error 5 points, tolerance three of them.
    rng = np.random.default_rng(20260405)
    states = [v for _ in range(3) for v in verdicts(cohort("4-weekly", 0.5, "constant", rng), "constant")]
    flat = [state == "stalled" for kind, allowance, state in states if kind == "flat" and allowance == 4.5]
    measured = next(r for r in flagged_shares(4.5) if (r.kind, r.learning) == ("flat", "half"))
    assert len(flat) == 108 and np.mean(flat) == pytest.approx(measured.four_weekly, abs=0.14)
