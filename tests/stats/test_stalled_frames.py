"""The rule over frames: one row per client and pressure, missing columns are not recorded, order of checking."""

import polars as pl
import pytest

from pipeline.stats.stalled_frames import VERDICT_COLUMNS, judge_clients, order_of_checking
from pipeline.stats.stalled_rule import StalledRule

RULE = StalledRule(allowance_cmh2o=0.0)
SLOPES = {"flat": 0.0, "fall": -3.0, "rise": 2.0, "shaky": 0.0}


def _tests():
    rows = [(k, "mip", float(w), 60 + s * w) for k, s in SLOPES.items() for w in (0, 4, 8, 12, 16, 20, 24)]
    return pl.DataFrame(rows, schema=["client_key", "pressure", "week", "value_cmh2o"], orient="row")


def _clients():
    gains = {"flat": 2.0, "fall": 0.0, "rise": 30.0, "shaky": 9.0, "absent": 1.0}
    rows = [(key, "mip", 24.0, gain, 5.0) for key, gain in gains.items()]
    names = ["client_key", "pressure", "look_week", "gain_cmh2o", "gain_std_error_cmh2o"]
    return pl.DataFrame(rows, schema=names, orient="row")


def _judge(clients=None, tests=None, rule=RULE):
    clients, tests = _clients() if clients is None else clients, _tests() if tests is None else tests
    return judge_clients(clients, tests, rule, residual_sd_cmh2o={"mip": 8.0})


def test_one_row_a_client_and_pressure_with_the_promised_columns():
    out = _judge()
    assert dict(out.schema) == VERDICT_COLUMNS
    states = dict(out.select("client_key", "state").rows())
    assert states == {
        "absent": "not assessable", "fall": "falling", "flat": "stalled", "rise": "improving", "shaky": "stalled",
    }  # fmt: skip


def test_the_order_of_rows_does_not_matter():
    assert _judge(_clients().reverse(), _tests().sample(fraction=1.0, shuffle=True, seed=7)).equals(_judge())


def test_own_columns_win_over_the_rule_and_missing_ones_are_not_recorded():
    goal = _clients().with_columns(
        pl.lit(60.0).alias("goal_cmh2o"), pl.lit(None, pl.Float64).alias("target_gain_cmh2o")
    )
    out = _judge(goal).filter(pl.col("client_key") == "flat").row(0, named=True)
    assert out["state"] == "levelled off" and out["goal_reached"] and out["target_gain_cmh2o"] == 17.0
    high = _clients().with_columns(pl.lit(1.0).alias("target_gain_cmh2o"))
    assert _judge(high).filter(pl.col("client_key") == "flat")["target_gain_cmh2o"].to_list() == [1.0]


def test_an_error_that_grows_with_the_level_widens_the_slope():
    noisy = _tests().with_columns(pl.lit(12.0).alias("residual_sd_cmh2o"))
    plain, wide = _judge()["slope_std_error"].drop_nulls(), _judge(tests=noisy)["slope_std_error"].drop_nulls()
    assert wide.min() > 0 and (wide != plain).all()


def test_a_pressure_without_an_error_is_refused():
    with pytest.raises(KeyError):
        judge_clients(_clients(), _tests(), RULE, residual_sd_cmh2o={"mep": 12.0})


def test_falling_heads_the_worklist_and_equal_evidence_shares_a_rank():
    twin = _clients().filter(pl.col("client_key") == "flat").with_columns(pl.lit("twin").alias("client_key"))
    tests = _tests().filter(pl.col("client_key") == "flat").with_columns(pl.lit("twin").alias("client_key"))
    out = order_of_checking(_judge(pl.concat([_clients(), twin]), pl.concat([_tests(), tests])))
    assert out["client_key"].to_list() == ["fall", "flat", "twin", "shaky", "rise", "absent"]
    assert out["checking_rank"].to_list() == [1, 2, 2, 4, 5, 6]


def test_nobody_vanishes_and_an_empty_cohort_stays_a_frame():
    assert order_of_checking(_judge()).height == _clients().height
    empty = order_of_checking(_judge(_clients().head(0)))
    assert empty.height == 0 and "checking_rank" in empty.columns


def _ordered(state, evidence, column):
    keys = [f"c{no}" for no in range(len(evidence))]
    rows = {"client_key": keys, "pressure": ["mip"] * len(keys), "state": [state] * len(keys), column: evidence}
    blank = {name: pl.Series([None] * len(keys), dtype=kind) for name, kind in VERDICT_COLUMNS.items()}
    frame = pl.DataFrame({**blank, "slope_std_error": [1.0] * len(keys), **rows}).cast(VERDICT_COLUMNS)
    out = order_of_checking(frame)
    return list(zip(out["client_key"].to_list(), out["checking_rank"].to_list(), strict=True))


def test_the_steepest_fall_is_looked_at_first():
    assert _ordered("falling", [-2.0, -4.0, -3.0], "slope_cmh2o_per_week") == [("c1", 1), ("c2", 2), ("c0", 3)]


def test_evidence_that_differs_by_noise_shares_a_rank():
    assert _ordered("stalled", [2.01, 1.98, 2.5], "shortfall_z") == [("c2", 1), ("c0", 2), ("c1", 2)]
