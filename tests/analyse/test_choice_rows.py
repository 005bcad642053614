"""Other forms of the dose and other scales, by hand on a few rows."""

from datetime import date, timedelta
from math import exp, log

import numpy as np
import polars as pl
import pytest

from pipeline.analyse import choice_rows as made
from pipeline.analyse.choice import DIFFERENCE, DOSE, GAIN, Ground, Target
from pipeline.analyse.fits import PressureModels
from pipeline.settings import Settings
from pipeline.stats import Contrast

START = date(2026, 1, 5)
NAN = float("nan")


def ground(rows, **frames):
    return Ground(PressureModels("mip", rows, None), rows, frames, Settings(), ())


def four_tests(**more):
    """One person: baseline, week 4 (all done), week 8 (half done), week 12 (interval not known)."""
    return pl.DataFrame({
        "client_key": ["a"] * 4, "tested_on": [START + timedelta(weeks=4 * k) for k in range(4)],
        "week": [0.0, 4.0, 8.0, 12.0], "is_baseline": [True, False, False, False],
        "dose_d": [0.0, 1 / 3, 0.5, None], "interval_adherence": [None, 1.0, 0.5, None],
        "interval_weeks": [None, 4.0, 4.0, 4.0], "interval_in_band_share": [None, 0.5, 1.0, 1.0],
        "value_cmh2o": [50.0, 60.0, 70.0, 80.0], **more,
    })  # fmt: skip


def test_lagged_dose_is_that_of_the_test_before():
    assert made.lagged(ground(four_tests()))["dose_d"].to_list() == [0.0, 0.0, pytest.approx(1 / 3), 0.5]


def test_dose_in_the_band_counts_its_share_of_each_interval():
    found = made.in_band(ground(four_tests()))["dose_d"].to_list()
    assert found[:3] == pytest.approx([0.0, 0.5 / 3, 0.5 / 3 + 1 / 6]) and found[3] is None


def test_an_interval_without_dose_needs_no_ratings():
    rows = four_tests().with_columns(pl.Series("dose_d", [0.0, 0.0, 0.2, 0.4]),
                                pl.Series("interval_in_band_share", [None, None, 0.5, 0.5]))  # fmt: skip
    assert made.in_band(ground(rows))["dose_d"].to_list() == pytest.approx([0.0, 0.0, 0.1, 0.2])


def test_time_by_the_plan_and_its_gap():
    rows = four_tests()
    assert made.by_plan(ground(rows))["dose_d"].to_list() == [0.0, pytest.approx(1 / 3), pytest.approx(1 / 3), None]
    assert made.gap_by_plan(rows) == pytest.approx(0.5)
    one = Contrast(0.4, 0.1, 9.0, 0.2, 0.6, 4.0, 0.01)
    turned = made.per_ten_points(ground(rows), Target(DOSE), one)
    assert (turned.estimate, turned.low, turned.high) == pytest.approx((0.8, 0.4, 1.2))
    assert made.per_ten_points(ground(rows), Target(GAIN), one) == one


def test_trailing_dose_is_the_known_share_of_the_last_four_whole_weeks():
    """Test on day 28 of the course: weeks 0 to 3 are whole, week 1 is not known. Done 6, ?, 0, 3 of 6 a week."""
    weeks = pl.DataFrame({
        "client_key": ["a"] * 9, "course_no": [1] * 9, "week_from_on": [START + timedelta(weeks=k) for k in range(9)],
        "week_days": [7] * 9, "sessions_prescribed": [6] * 9,
        "sessions_done": [6, None, 0, 3, 6, 6, 6, 6, 6],
    })  # fmt: skip
    courses = pl.DataFrame({"client_key": ["a"], "course_no": [1], "is_primary": [True]})
    found = made.trailing(ground(four_tests(), client_weeks=weeks, courses=courses))["dose_d"].to_list()
    assert found[0] == 0.0
    assert found[1] == pytest.approx(9 / 18 * 4 / 12)
    assert found[2] == pytest.approx(1.0 * 4 / 12)
    assert found[3] == pytest.approx(1.0 * 1 / 12)  # one week of the record lies in the last four


def test_nothing_known_of_the_last_weeks_is_unknown():
    weeks = pl.DataFrame({"client_key": ["a"], "course_no": [1], "week_from_on": [START + timedelta(weeks=2)],
                          "week_days": [7], "sessions_prescribed": [6], "sessions_done": [None]},
                         schema_overrides={"sessions_done": pl.Int64})  # fmt: skip
    courses = pl.DataFrame({"client_key": ["a"], "course_no": [1], "is_primary": [True]})
    found = made.trailing(ground(four_tests(), client_weeks=weeks, courses=courses))["dose_d"].to_list()
    assert found == [0.0, None, None, None]


def test_a_ratio_comes_back_at_the_geometric_mean():
    rows = four_tests()
    gain = made.from_log(ground(rows), Target(GAIN), Contrast(log(1.2), 0.01, 9.0, log(1.1), log(1.3), 9.0, 0.01))
    assert (gain.estimate, gain.low, gain.high) == pytest.approx((10.0, 5.0, 15.0))  # of the baseline, 50
    pair = Target(DIFFERENCE, "a", "b")
    apart = made.from_log(ground(rows), pair, Contrast(log(1.1), 0.01, 9.0, 0.0, log(1.2), 9.0, 0.0))
    assert (apart.estimate, apart.low) == pytest.approx((8.0, 0.0))  # of the test between weeks 10 and 16, 80
    assert apart.std_error == pytest.approx(80 * 0.01 * exp(log(1.1)))


def test_percent_of_predicted_and_back():
    rows = four_tests(predicted_cmh2o=[80.0] * 4)
    assert made.with_percent(ground(rows))["pct_value"].to_list() == pytest.approx([62.5, 75.0, 87.5, 100.0])
    found = made.from_predicted(ground(rows), Target(GAIN), Contrast(12.5, 1.0, 9.0, 10.0, 15.0, 9.0, 0.0))
    assert (found.estimate, found.low, found.high) == pytest.approx((10.0, 8.0, 12.0))


def test_health_is_told_about_its_mean_and_the_unknown_are_at_it():
    rows = pl.DataFrame({"client_key": ["a", "b", "c", "d"], "caution": ["cardiac", "none_known", "unknown", None],
                         "age_10": [-1.0, 0.0, 1.0, 2.0], "illness_days_interval": [7, 0, 0, 14]})  # fmt: skip
    courses = pl.DataFrame({"client_key": ["a", "b", "c", "d"], "is_primary": [True] * 4,
                            "respiratory_support": ["oxygen", "none", "none", "none"]})  # fmt: skip
    found = made.with_health(rows, {"courses": courses})
    assert found["caution_c"].to_list() == [0.5, -0.5, 0.0, 0.0]
    assert found["support_c"].to_list() == [0.75, -0.25, -0.25, -0.25]
    assert np.allclose(found["age_c"], [-1.5, -0.5, 0.5, 1.5])
    assert found["illness_weeks"].to_list() == [1.0, 0.0, 0.0, 2.0]
