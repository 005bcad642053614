"""Charts over quarters from synthetic cohorts of 5, 9 and 14 quarters: kinds, rules, small quarters, aims."""

from datetime import date

import polars as pl
import pytest

from pipeline.analyse.over_time import over_time
from pipeline.identity.quarters import label_of, number_of
from pipeline.settings import Settings

START = number_of("2023Q1")
GAIN = "median_gain12_cmh2o"
NAMED = f"measure={GAIN};pressure=mip"


def cohort(medians, people=20, second_course=False):
    """Frames with `people` clients a quarter, whose 12-week gains lie evenly around the quarter's median."""
    gains, tests, courses, quarters = [], [], [], []
    for k, middle in enumerate(medians):
        count = people[k] if isinstance(people, list) else people
        label = label_of(START + k)
        on = date(2023 + k // 4, k % 4 * 3 + 2, 14)
        for i in range(count):
            who = {"client_key": f"client-{k:03}-{i:03}", "course_no": 1}
            courses.append(who | {"is_primary": True})
            gains.append(who | {"site": "mill", "pressure": "mip", "at12_on": on,
                                "gain12_cmh2o": middle + 0.1 * (i - (count - 1) / 2)})
            tests.append(who | {"pressure": "mip", "tested_on": on, "quarter": label})
            quarters.append(who | {"site": "mill", "quarter": label, "session_adherence_pct": 120.0,
                                   "in_band_pct": 50.0})
            if second_course:
                again = who | {"course_no": 2}
                courses.append(again | {"is_primary": False})
                gains.append(again | {"site": "mill", "pressure": "mip", "at12_on": on, "gain12_cmh2o": 99.0})
                tests.append(again | {"pressure": "mip", "tested_on": on, "quarter": label})
                quarters.append(again | quarters[-1] | {"course_no": 2, "in_band_pct": 70.0})
    return {"gains": pl.DataFrame(gains), "model": pl.DataFrame(tests), "courses": pl.DataFrame(courses),
            "client_quarters": pl.DataFrame(quarters)}


def looked(medians, settings=None, **kwargs):
    frames = cohort(medians, **kwargs)
    made = over_time(frames, label_of(START + len(medians) - 1), settings or Settings())
    return {r.key.removeprefix("quarter.over_time."): r for r in made.rows}


STEADY = [10.0, 11.0, 10.5, 9.5, 10.2, 10.8, 9.8, 10.4, 10.9, 9.7, 10.1, 10.6, 10.3, 9.9]


def test_five_quarters_are_dots_and_their_median_and_nothing_is_judged():
    found = looked(STEADY[:5])
    assert found[f"chart_kind[{NAMED}]"].text == "none"
    assert found[f"median_of_quarters[{NAMED}]"].value == pytest.approx(10.2)
    assert not [k for k in found if k.startswith(("limits", "run_chart", "signal", "false_signal"))]


def test_nine_quarters_are_a_run_chart_with_its_rules_and_its_false_signals():
    found = looked(STEADY[:9])
    assert found[f"chart_kind[{NAMED}]"].text == "run chart"
    assert found[f"run_chart[{NAMED}]"].text == "no signal" and f"limits[{NAMED}]" not in found
    # 8 of the 9 lie off the median: round(log2 8 + 3) = 6; the 5 % quantile of Binomial(7, 1/2) is 1
    assert found[f"longest_run[{NAMED}]"].high == 6 and found[f"crossings[{NAMED}]"].low == 1
    assert found[f"false_signal_pct[{NAMED}]"].value == 0.0 and found[f"false_signal_pct[{NAMED}]"].n == 9


def test_fourteen_quarters_are_an_individuals_chart_with_limits_fixed_on_twelve():
    found, shifted = looked(STEADY), looked([*STEADY[:12], 40.0, 41.0])
    limits, then = (f[f"limits[{NAMED}]"] for f in (found, shifted))
    assert (limits.value, limits.low, limits.high) == (then.value, then.low, then.high)
    assert limits.value == pytest.approx(sum(STEADY[:12]) / 12)
    assert found[f"signals[{NAMED}]"].text == "no signal" and shifted[f"signals[{NAMED}]"].value >= 2
    assert found[f"false_signal_pct[{NAMED}]"].value == pytest.approx(8.0)
    first = shifted[f"signal[{NAMED};number=1]@13"]
    assert (first.text, first.note) == ("outside", "high side")


def test_a_quarter_of_ten_people_is_shown_and_not_judged():
    people = [20] * 14
    people[3] = 10
    medians = [*STEADY]
    medians[3] = 90.0
    found = looked(medians, people=people)
    assert found[f"{GAIN}[pressure=mip]@4"].value == pytest.approx(90.0)
    assert "hollow" in found[f"{GAIN}[pressure=mip]@4"].note
    assert found[f"limits[{NAMED}]"].n == 13 and found[f"limits[{NAMED}]"].high < 20
    assert found[f"signals[{NAMED}]"].text == "no signal"
    people[3] = 11
    assert looked(medians, people=people)[f"limits[{NAMED}]"].n == 14


def test_a_person_is_one_point_whatever_the_courses():
    found, twice = looked(STEADY[:9]), looked(STEADY[:9], second_course=True)
    key = f"{GAIN}[pressure=mip]@1"
    assert (found[key].n, found[key].value) == (twice[key].n, twice[key].value) == (20, pytest.approx(10.0))
    assert twice["median_in_band_pct[all]@1"].n == 20 and twice["median_in_band_pct[all]@1"].value == 70.0
    assert twice["median_session_adherence_pct[all]@1"].value == 100.0


def test_the_aim_is_a_count_and_no_rule():
    found = looked([16.0, 18.0, 17.0, 10.0])
    assert (found[f"aim_reached[{NAMED}]"].value, found[f"aim_reached[{NAMED}]"].n) == (2.0, 4)
    none = looked([16.0, 18.0], Settings(mip_target_gain_cmh2o=0.0))
    assert f"aim_reached[{NAMED}]" not in none


def test_an_empty_quarter_is_a_gap_and_no_zero():
    found = looked([10.0, 11.0, 12.0], people=[20, 0, 20])
    gap = found[f"{GAIN}[pressure=mip]@2"]
    assert (gap.n, gap.value) == (0, None) and gap.text == "2023Q2"
    assert found[f"chart_kind[{NAMED}]"].n == 2


def test_no_value_at_all_is_said():
    frames = cohort([10.0])
    made = over_time(frames | {"gains": frames["gains"].with_columns(gain12_cmh2o=pl.lit(None, pl.Float64))}, "2023Q1",
                     Settings())  # fmt: skip
    assert any(r.statistic == "state" and NAMED in r.group for r in made.rows)
