"""Model frames drawn at once: the stated model is in them, null scenarios hold nothing, the columns are those read."""

import numpy as np
import polars as pl
import pytest

from pipeline.simulate import MIP_TRUTH, Study, null_truth, simulate_model_frame, tied_sites
from pipeline.simulate.scenario import PROTOCOLS

READ = {"client_key", "course_no", "is_primary", "site", "protocol", "pressure", "tested_on", "quarter", "week",
        "time12", "value_cmh2o", "test_no", "is_baseline", "first_ever", "prior_test_days", "efforts_kept",
        "interval_weeks", "interval_adherence", "interval_logged_share", "interval_in_band_share", "dose_d",
        "dose_d_low", "dose_d_high", "effort_e", "effort_e_low", "effort_e_high", "between_dose", "within_dose", "sex",
        "age_years", "condition_group", "aim", "assigned_by", "caution", "instrument", "same_tester", "mouthpiece",
        "posture", "metric", "illness_days_interval", "held_days_interval", "eased_share_interval",
        "wellbeing_interval",
        "weeks_since_session"}


@pytest.fixture(scope="module")
def frame() -> pl.DataFrame:
    return simulate_model_frame(2000, seed=1)


def test_it_has_the_columns_of_the_model_frame(frame: pl.DataFrame) -> None:
    assert set(frame.columns) - {"true_level_cmh2o"} == READ


def test_dose_and_effort_are_the_sums_of_what_lies_before_the_test(frame: pl.DataFrame) -> None:
    step = pl.col("interval_weeks") / 12
    done, in_band = pl.col("interval_adherence").fill_null(0), pl.col("interval_in_band_share").fill_null(0.5) - 0.5
    sums = frame.with_columns(d=(done * step).cum_sum().over("client_key", order_by="week"),
                              e=(in_band * step).cum_sum().over("client_key", order_by="week"))
    assert np.allclose(sums["d"], sums["dose_d"])
    assert np.allclose(sums["e"], sums["effort_e"])
    assert np.allclose(frame["between_dose"] + frame["within_dose"], frame["dose_d"])


def test_error_grows_with_the_level_by_the_stated_power(frame: pl.DataFrame) -> None:
    error = (frame["value_cmh2o"] - frame["true_level_cmh2o"]).to_numpy()
    level = np.maximum(frame["true_level_cmh2o"].to_numpy(), 12.0)
    scaled = error / (MIP_TRUTH.error_sd * (level / MIP_TRUTH.error_level) ** MIP_TRUTH.error_power)
    # 9,000 or more draws: 4 standard errors of a mean square of 1 are 4*sqrt(2/9000) = 0.06
    assert len(scaled) > 9000
    assert abs(np.mean(scaled**2) - 1) < 0.06
    assert abs(np.polyfit(level, scaled**2, 1)[0]) < 0.006


def test_a_null_truth_has_no_difference_between_protocols() -> None:
    null = null_truth(MIP_TRUTH)
    assert null.dose == null.effort == 0
    assert set(null.protocol_gain12.values()) == {0.0}
    assert null.gain12 == MIP_TRUTH.gain12


def test_sites_may_be_tied_to_protocols() -> None:
    study, truth = tied_sites()
    frame = simulate_model_frame(900, 3, truth, study).unique("client_key")
    shares = frame.group_by("site").agg((pl.col("protocol") == PROTOCOLS[0].name).mean().alias("share"))
    assert dict(shares.iter_rows())["harbour"] > 0.8
    assert truth.site_slope["harbour"] == -truth.site_slope["mill"] != 0


def test_without_drop_out_everybody_stays_to_the_end() -> None:
    stay = simulate_model_frame(500, 4, study=Study(drop_out=None))
    leave = simulate_model_frame(500, 4)
    assert leave.height < stay.height
    assert stay.group_by("client_key").len()["len"].min() >= 3


def test_those_who_leave_gained_less_before_they_left() -> None:
    """Drop-out is informative: it leans on the observed change."""
    frame = simulate_model_frame(4000, 5).sort("client_key", "week")
    seen = frame.with_columns(
        gain=pl.col("value_cmh2o") - pl.col("value_cmh2o").first().over("client_key"),
        left=pl.col("test_no") == pl.col("test_no").max().over("client_key"))
    first_retest = seen.filter(pl.col("test_no") == 2)
    means = dict(first_retest.group_by("left").agg(pl.col("gain").mean()).iter_rows())
    # first order: slope of the logit (-0.05 per cmH2O) times the variance of a 4-week change (about 100) is 5
    assert -7 < means[True] - means[False] < -2
